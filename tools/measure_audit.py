"""Measures how often the audit of height sensors and the episodes from heights are right.

Virtual vehicles and ramps whose truth is known, defects put in. Prints tables; the rates in
`sagtrace.evidence.audit.RATES` are those of `outcome_rates`. Deterministic.

Run: PYTHONPATH=src:tools python tools/measure_audit.py [COUNT]  (vehicles; 30 if left out)
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from sagtrace.evidence.audit import STATES, body_moved, outcome_of
from sagtrace.signals.audit import audit_heights, height_roles
from sagtrace.signals.episodes import find_episodes
from sagtrace.signals.trace import Trace
from sagtrace.twin.faults import CornerFault
from virtual_recordings import (
    LEVEL,
    NOISE,
    STEP,
    day,
    defect,
    height_of,
    loose,
    sampled,
    sticking,
    still,
    sweep,
    true_spans,
    worn,
)

Array = NDArray[np.float64]
Span = tuple[float, float]

RATES = (1, 2, 10, 50)  # [1/s]
SEED = 5000  # vehicles that no threshold was chosen on
NEAR = 1.5  # [s] an episode this near a true one is the same
LEAST_RISE = 4e-3  # [m] of a fill that must be found


def false_alarms(count: int) -> tuple[Counter[tuple[int, str]], Counter[int]]:
    """Return by rate how many healthy channels each kind stands out in, and how many there are."""
    found: Counter[tuple[int, str]] = Counter()
    total: Counter[int] = Counter()
    for seed in range(SEED, SEED + count):
        made = sweep(seed)
        for rate in RATES:
            trace = sampled(made, rate, None, np.random.default_rng(seed))
            audit = audit_heights(trace)
            for channel in height_roles(trace):
                out = {r.kind for r in audit.of(channel) if r.stands_out}
                total[rate] += 1
                found.update((rate, kind) for kind in out)
                found[rate, "any"] += bool(out)
    return found, total


def _spike(size: float, width: int) -> Callable[[Array, np.random.Generator], Array]:
    effective = float(np.hypot(NOISE, STEP / np.sqrt(12.0)))

    def put(x: Array, rng: np.random.Generator) -> Array:
        out, at = x.copy(), int(rng.integers(10, x.size - 10))
        # Put in before the rounding, as far as that can be undone.
        rounded = rng.uniform(-0.5, 0.5, width) * STEP
        out[at : at + width] += rng.choice([-1.0, 1.0]) * size * effective + rounded
        return np.asarray(np.rint(out / STEP) * STEP)

    return put


def _drop(value: float) -> Callable[[Array, np.random.Generator], Array]:
    def put(x: Array, rng: np.random.Generator) -> Array:
        out, at = x.copy(), int(rng.integers(2, x.size - 5))
        out[at : at + 3] = value
        return out

    return put


Put = Callable[[Array, np.random.Generator], Array]
SIGNAL_DEFECTS: dict[str, tuple[Put, frozenset[str]]] = {
    **{f"spike {n} x noise": (_spike(n, 1), frozenset({"spikes", "track"})) for n in (5, 6, 7, 8)},
    "spike 5 x noise, 2 samples": (_spike(5.0, 2), frozenset({"spikes", "track"})),
    "dropout of 3, no value": (_drop(np.nan), frozenset({"dropouts", "range"})),
    "dropout of 3, zero": (_drop(0.0), frozenset({"dropouts", "range"})),
    "dropout of 3, rail": (_drop(LEVEL - 0.084), frozenset({"dropouts", "range"})),
}
TRAVEL_DEFECTS: dict[str, tuple[Callable[[Array], Array], frozenset[str]]] = {
    "dead band 2 mm": (lambda x: sticking(x, 2e-3), frozenset({"dead-band"})),
    "play 2 mm": (lambda x: loose(x, 2e-3), frozenset({"hysteresis", "dead-band"})),
    "play 8 mm": (lambda x: loose(x, 8e-3), frozenset({"hysteresis", "dead-band"})),
    "worn over 2 mm, 3 mm jump": (
        lambda x: worn(x, LEVEL + 1e-3, 2e-3, 3e-3), frozenset({"track", "spikes"}),
    ),
}  # fmt: skip


def _shows(trace: Trace, channel: str, kinds: frozenset[str]) -> bool:
    return any(r.kind in kinds and r.stands_out for r in audit_heights(trace).of(channel))


def detections(count: int, each: int) -> dict[tuple[str, int], float]:
    """Return by defect and rate the share that is found on swept vehicles."""
    hit: Counter[tuple[str, int]] = Counter()
    for seed in range(SEED, SEED + count):
        made = sweep(seed)
        channel = height_of(made)
        truth = made.true_height(channel)
        spoiled = {name: make(truth) for name, (make, _) in TRAVEL_DEFECTS.items()}
        for rate in RATES:
            for k in range(each):
                rng = np.random.default_rng([seed, rate, k])
                for name, values in spoiled.items():
                    bad = sampled(made, rate, values, rng)
                    hit[name, rate] += _shows(_alone(bad), channel, TRAVEL_DEFECTS[name][1])
                plain = _alone(sampled(made, rate, truth, rng))
                for name, (put, kinds) in SIGNAL_DEFECTS.items():
                    bad = _with(plain, channel, put(plain.channels[channel], rng))
                    hit[name, rate] += _shows(bad, channel, kinds)
    names = [*TRAVEL_DEFECTS, *SIGNAL_DEFECTS]
    return {(n, r): hit[n, r] / (count * each) for n in names for r in RATES}


def _with(trace: Trace, channel: str, values: Array) -> Trace:
    return Trace(time=trace.time, channels={**trace.channels, channel: values})


def _alone(trace: Trace) -> Trace:
    """Return the trace with its first height only: what one channel shows by itself."""
    first = height_roles(trace)[0]
    kept = {r: v for r, v in trace.channels.items() if r == first or not r.startswith("height.")}
    return Trace(time=trace.time, channels=kept)


def ramp(speed: float, rise: float, rate: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return time and true height of a ramp up and down with rests between, at 50 a second."""
    up = rise / speed
    marks = np.cumsum([0.0, rng.uniform(40.0, 60.0), up, 60.0, up, 60.0])
    time = np.arange(0.0, marks[-1], 1.0 / 50.0)
    return time, np.interp(time, marks, LEVEL + np.array([0.0, 0.0, rise, rise, 0.0, 0.0]))


def ramps(speed: float, each: int) -> Iterator[tuple[int, float, float]]:
    """Yield rate, false alarms and found dead bands of 2 mm on ramps of 40 mm at this speed."""
    for rate in RATES:
        false, found = 0, 0
        for k in range(each):
            rng = np.random.default_rng([k, rate, 7])
            time, truth = ramp(speed, 40e-3, rate, rng)
            for values, sound in ((truth, True), (sticking(truth, 2e-3), False)):
                at = slice(int(rng.integers(50 // rate)), None, 50 // rate)
                noisy = values[at] + rng.normal(0.0, NOISE, values[at].shape)
                seen = {"height.rear": np.rint(noisy / STEP) * STEP}
                out = [
                    r
                    for r in audit_heights(Trace(time=time[at], channels=seen)).results
                    if r.stands_out
                ]
                false += sound and bool(out)
                found += not sound and any(r.kind == "dead-band" for r in out)
        yield rate, false / each, found / each


def outcome_rates(count: int) -> dict[bool, dict[str, Counter[str]]]:
    """Return for swept and still recordings how often each state gives each outcome.

    Three in ten of the vehicles with a sound signal have something else: a leak at its corner, a
    valve that stays closed, a blocked line.
    """
    table: dict[bool, dict[str, Counter[str]]] = {
        swept: {state: Counter() for state in STATES} for swept in (True, False)
    }
    others = (
        CornerFault(leak=6e-12), CornerFault(valve_stuck_closed=True), CornerFault(line_loss=0.97),
    )  # fmt: skip
    for seed in range(SEED, SEED + count):
        corner = others[seed % 3] if seed % 10 < 3 else None
        for made in (sweep(seed, corner=corner), still(seed)):
            for rate in (1, 10):
                for state in STATES:
                    rng = np.random.default_rng([seed, rate, STATES.index(state)])
                    trace, channel = sampled(made, rate, None, rng), height_of(made)
                    if state == "offset" and rng.random() < 0.3:
                        band = sticking(made.true_height(channel), rng.uniform(2e-3, 6e-3))
                        trace = sampled(made, rate, band, rng)
                    elif state == "noisy" and rng.random() < 0.3:
                        at = LEVEL + rng.uniform(-0.02, 0.02)
                        bad = worn(made.true_height(channel), at, 3e-3, rng.uniform(2e-3, 8e-3))
                        trace = sampled(made, rate, bad, rng)
                    elif state != "agrees":
                        trace = defect(trace, channel, state, rate, rng)
                    audit = audit_heights(trace)
                    moved = body_moved(audit)
                    table[moved][state][outcome_of(audit.of(channel))] += 1
    return table


def episode_scores(count: int, rate: float) -> dict[str, tuple[float, float]]:
    """Return recall and precision of fills, vents and holds found in the heights alone.

    Fills and vents are counted; holds are compared by their time.
    """
    n: Counter[tuple[str, str]] = Counter()
    for seed in range(SEED, SEED + count):
        made = day(seed, rate)
        heights = {c: v for c, v in made.run.channels.items() if c.startswith("height.")}
        trace = Trace(time=made.run.time, channels=heights)
        episodes = find_episodes(trace)
        truth = np.array([made.true_height(channel) for channel in heights])
        for kind in ("fill", "vent"):
            true = true_spans(made.run, kind)
            found = [(e.start, e.end) for e in episodes if e.kind == kind]
            large = [s for s in true if _moved(trace.time, truth, s) >= LEAST_RISE]
            n[kind, "true"] += len(large)
            n[kind, "hit"] += sum(any(_near(s, f) for f in found) for s in large)
            n[kind, "found"] += len(found)
            n[kind, "right"] += sum(any(_near(s, f) for s in true) for f in found)
        busy = sorted(true_spans(made.run, "fill") + true_spans(made.run, "vent"))
        rests = _rests(busy, float(trace.time[-1]))
        found = [(e.start, e.end) for e in episodes if e.kind == "hold"]
        both = sum(max(0.0, min(a[1], b[1]) - max(a[0], b[0])) for a in rests for b in found)
        n["hold", "true"] += round(sum(b - a for a, b in rests))
        n["hold", "found"] += round(sum(b - a for a, b in found))
        n["hold", "hit"] += round(both)
        n["hold", "right"] += round(both)
    kinds = ("fill", "vent", "hold")
    return {
        k: (n[k, "hit"] / max(n[k, "true"], 1), n[k, "right"] / max(n[k, "found"], 1))
        for k in kinds
    }


def _near(a: Span, b: Span) -> bool:
    return a[0] < b[1] + NEAR and b[0] < a[1] + NEAR


def _moved(time: Array, truth: Array, span: Span) -> float:
    a, b = np.searchsorted(time, span)
    return float(np.max(np.abs(truth[:, min(b, time.size - 1)] - truth[:, a])))


def _rests(busy: list[Span], end: float) -> list[Span]:
    free, found = 0.0, []
    for start, stop in [*busy, (end, end)]:
        if start - free >= 60.0:
            found.append((free + 30.0, start))
        free = stop
    return found


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    alarms, total = false_alarms(10 * count)
    print(f"false alarms on healthy sweeps, channels by rate: {dict(total)}")
    for kind in sorted({kind for _, kind in alarms}):
        shown = "  ".join(f"{100.0 * alarms[rate, kind] / total[rate]:5.2f} %" for rate in RATES)
        print(f"  {kind:28s} {shown}")
    print(f"found, of {count} vehicles and 10 injections each, at {RATES} samples a second")
    found = detections(count, 10)
    for name in dict.fromkeys(name for name, _ in found):
        shown = "  ".join(f"{100.0 * found[name, rate]:5.1f} %" for rate in RATES)
        print(f"  {name:28s} {shown}")
    for speed in (1e-3, 3.5e-3):
        print(f"ramps of 40 mm at {1e3 * speed:g} mm/s: rate, false alarms, dead bands found")
        for rate, false, hit in ramps(speed, 10 * count):
            print(f"  {rate:4d}  {100.0 * false:5.2f} %  {100.0 * hit:5.1f} %")
    print("fills, vents and holds from heights alone: recall, precision")
    for samples in (1.0, 2.0, 10.0):
        scores = episode_scores(count, samples)
        print(f"  {samples:4g}", {k: (round(r, 3), round(p, 3)) for k, (r, p) in scores.items()})
    print("P(outcome | state), 0.5 added to every count; swept or not, then", STATES)
    for swept, states in outcome_rates(10 * count).items():
        for outcome in ("sound", "jumps", "wrong", "gone"):
            row = [(c[outcome] + 0.5) / (c.total() + 2.0) for c in states.values()]
            print(f"  {swept!s:6s} {outcome:6s}", tuple(round(p, 4) for p in row))
        print("   of", [c.total() for c in states.values()])


if __name__ == "__main__":
    main()
