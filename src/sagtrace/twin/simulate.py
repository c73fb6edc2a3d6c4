"""Simulate a vehicle through a script: channels as a recording would have them, and the truth.

Deterministic: the same parameters, script, faults, seed and rate give the same numbers on one
machine. The control unit's own noise and that of the recorded channels come from the seed, apart.
The first call on a machine compiles the plant; `prepare` does that and says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError, EvidenceError
from sagtrace.physics.constants import R_AIR
from sagtrace.signals.trace import ROLES, Trace
from sagtrace.twin import _slots as s
from sagtrace.twin._kernels import compile_apart, plant_and_control
from sagtrace.twin.codes import SetCode, set_codes
from sagtrace.twin.controller import M_FIRST, M_STATUS, new_memory
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.loop import run
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.plant import COMMANDS, CV, EXTRAS, LEDGERS
from sagtrace.twin.script import Script, stretches

__all__ = ["Balance", "initial_state", "prepare", "simulate", "Simulation", "State", "Truth"]

Array = NDArray[np.float64]

RTOL = 1e-5  # [-] chosen: error of a step; well inside 0.2 mm and 0.2 % of mass over a run
LOG_ROWS = 20_000  # [-] chosen: changes of command that are kept
SMALLEST = (1.0, 1.0, 0.01, 1e-3, 0.1)  # [K, K, -, kg, -] sizes of the last five states


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where a run ended, to go on from."""

    time: float  # [s]
    values: Array  # the plant's own state
    extensions: Array  # [m] of the springs
    memory: Array  # of the control unit

    def mass(self, volume: int) -> float:
        """Return the gas mass in a volume: springs in order, gallery, reservoir [kg]."""
        return float(self.values[volume])


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What nobody can read off a vehicle. One column a sample."""

    heights: Mapping[str, Array]  # [m] above ride height at the wheel arch
    masses: Mapping[str, Array]  # [kg] corners, "gallery", "reservoir"
    temperatures: Mapping[str, Array]  # [K] the same, "head" and "connector"
    pressures: Mapping[str, Array]  # [Pa] absolute
    water: Array  # [kg] in the dryer
    charge: Array  # [-] of the battery
    valves: Mapping[str, Array]  # 0 or 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What should be zero: changes of content less what was booked, as a share of what is there."""

    mass: float  # [-]
    energy: float  # [-]
    mass_in: float  # [kg]
    mass_out: float  # [kg]


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """A run: what a recording shows, what was true, the codes, and where it ended."""

    time: Array  # [s]
    channels: Mapping[str, Array]  # SI, by role
    truth: Truth | None
    codes: tuple[SetCode, ...]
    changes: Array  # rows: time, pump, vent, reservoir, fuse blown, four valves
    balance: Balance
    end: State
    steps: int
    seed: int

    def trace(self) -> Trace:
        """Return the channels whose roles a recording can have."""
        kept = {role: values for role, values in self.channels.items() if role in ROLES}
        return Trace(time=self.time, channels=kept)


def initial_state(vehicle: VehicleParameters, script: Script, start: float = 0.0) -> State:
    """Return the vehicle level at ride height, gas as warm as the air, gallery empty."""
    baro, temp = vehicle.surroundings.barometer, script.ambient
    stores = [(baro + spring.load / spring.area, spring.volume) for spring in vehicle.springs]
    stores.append((baro, vehicle.block.volume))
    if vehicle.reservoir is not None:
        stores.append((vehicle.reservoir.pressure, vehicle.reservoir.volume))
    masses = np.array([p * v / (R_AIR * temp) for p, v in stores])
    extras = [temp, temp, 0.0, vehicle.dryer.water, vehicle.electrics.battery_charge]
    values = np.concatenate([masses, masses * CV * temp, extras, np.zeros(LEDGERS)])
    return State(
        time=start,
        values=values,
        extensions=np.zeros(len(vehicle.springs)),
        memory=new_memory(vehicle.control.credit_max),
    )


def simulate(
    vehicle: VehicleParameters,
    script: Script,
    *,
    faults: Sequence[TimedFault] = (),
    seed: int = 0,
    rate: float = 10.0,
    truth: bool = True,
    start: State | None = None,
    rtol: float = RTOL,
    watch: Array | None = None,
) -> Simulation:
    """Return what happens to a vehicle with these faults in this script.

    `rate` is in samples a second. `start` goes on from the end of another run; fault onsets and
    event times count from the start of this one. `watch` is four numbers to look at from another
    thread while it runs: the last one is how far it is, from this run's start [s].
    """
    if not rate > 0.0:
        raise DomainError("rate", rate, "1/s", "above zero")
    if not 0.0 < rtol < 1.0:
        raise DomainError("rtol", rtol, "", "between 0 and 1")
    begin = start or initial_state(vehicle, script)
    edges, inputs = stretches(vehicle, script, faults, 0.0)
    packs = [s.pack(vehicle, [f for f in faults if f.onset <= t]) for t in edges[:-1]]
    y, x, memory = begin.values.copy(), begin.extensions.copy(), begin.memory.copy()
    y[-LEDGERS:] = 0.0
    # Codes tell times from the first run's start, the kernel from this one's.
    n, nv = len(vehicle.springs), (len(y) - EXTRAS - LEDGERS) // 2
    count = int(np.floor(script.duration * rate + 1e-9)) + 1
    seen = np.empty((n + 6, count))
    rows = 3 * nv + EXTRAS + 1 + n
    hidden = np.empty((rows, count if truth else 0))
    log = np.zeros((LOG_ROWS, 1 + COMMANDS))
    tally = np.zeros(4) if watch is None else watch
    tally[:] = 0.0
    first = y.copy()
    size = np.concatenate([first[: 2 * nv], SMALLEST, np.zeros(LEDGERS)])
    size[n], size[nv + n] = _gallery_size(vehicle)
    kicks = _kicks(faults, edges)
    failed = run(
        *plant_and_control(), edges, inputs,
        np.array([p.wide for p in packs]), np.array([p.springs for p in packs]),
        np.array([p.sensors for p in packs]), np.array([p.control for p in packs]), kicks,
        np.empty((0, COMMANDS)), np.empty((0, 1)),
        s.coupling(vehicle), size, y, x, memory, seed, rtol, float(rate), seen, hidden, log, tally,
    )  # fmt: skip
    if failed:
        raise EvidenceError(f"the simulation stopped at {tally[3]:g} s: no step is short enough.")
    time = begin.time + np.arange(count) / rate
    changes = log[: min(int(tally[2]), LOG_ROWS)]
    return Simulation(
        time=time,
        channels=_channels(vehicle, inputs, edges, packs, seen, time - begin.time, seed),
        truth=_truth(vehicle, seen, hidden, nv) if truth else None,
        codes=set_codes(memory[M_STATUS:M_FIRST], memory[M_FIRST : M_FIRST + 8]),
        changes=changes,
        balance=_balance(first, y, nv),
        end=State(time=begin.time + script.duration, values=y, extensions=x, memory=memory),
        steps=int(tally[0]),
        seed=seed,
    )


def prepare(tell: Callable[[str], None] = lambda _: None, *, at_once: bool = False) -> None:
    """Compile or load the plant now, and say what happens.

    With `at_once` the pieces are compiled side by side in processes of their own: for a program's
    own start, not for a library call from somebody's threads.
    """
    tell("Preparing the virtual vehicle: the first run on a machine compiles it, once.")
    if at_once:
        compile_apart()
    _run_nothing()
    tell("The virtual vehicle is ready.")


def _run_nothing() -> None:
    """Run no stretch at all, with arrays like those of `simulate`: it only compiles or loads."""
    flat = np.zeros(1)
    table, tables = np.zeros((0, 1)), np.zeros((0, 2, 1))
    run(
        *plant_and_control(), flat, table, table, tables, tables, table, table,
        np.zeros((0, COMMANDS)), np.zeros((0, 1)), np.zeros((2, 2)), flat, np.zeros(EXTRAS + LEDGERS), np.zeros(2), flat, 0, RTOL, 1.0,
        np.zeros((8, 0)), np.zeros((1, 0)), np.zeros((1, 1)), np.zeros(4),
    )  # fmt: skip


def _gallery_size(vehicle: VehicleParameters) -> tuple[float, float]:
    """Return mass and energy of a full gallery: empty, it is too small to set a tolerance by."""
    spring = vehicle.springs[0]
    p = vehicle.surroundings.barometer + spring.load / spring.area
    energy = p * vehicle.block.volume * CV / R_AIR
    return 100.0 * energy / (CV * 293.15), 100.0 * energy


def _kicks(faults: Sequence[TimedFault], edges: Array) -> Array:
    """Return what jumps at the start of each stretch: water put in, charge taken out."""
    kicks = np.zeros((len(edges) - 1, EXTRAS))
    for fault in faults:
        at = int(np.searchsorted(edges, fault.onset))
        if at < len(kicks):
            kicks[at, 3] += fault.severity * fault.change.dryer_water
            kicks[at, 4] -= fault.severity * fault.change.battery_charge_loss
    return kicks


def _balance(first: Array, last: Array, nv: int) -> Balance:
    ledger = last[-LEDGERS:]
    mass, energy = last[:nv].sum(), last[nv : 2 * nv].sum()
    lost_mass = mass - first[:nv].sum() - ledger[0] + ledger[1]
    lost = energy - first[nv : 2 * nv].sum() - ledger[2] + ledger[3] - ledger[4] + ledger[5]
    whole = first[nv : 2 * nv].sum()
    return Balance(
        mass=float(abs(lost_mass) / first[:nv].sum()),
        energy=float(abs(lost) / whole),
        mass_in=float(ledger[0]),
        mass_out=float(ledger[1]),
    )


def _channels(
    vehicle: VehicleParameters, inputs: Array, edges: Array, packs: Sequence[s.Packed], seen: Array,
    time: Array, seed: int,
) -> dict[str, Array]:  # fmt: skip
    n = len(vehicle.springs)
    bounds = np.searchsorted(time, edges[1:-1]).tolist()
    spans = list(zip([0, *bounds], [*bounds, len(time)], strict=True))
    noise = np.random.default_rng(seed)
    channels = {
        sensor.role: vehicle.level + _sensed(i, packs, spans, seen, vehicle, noise)
        for i, sensor in enumerate(vehicle.sensors)
    }
    ambient, engine = np.empty(len(time)), np.empty(len(time))
    for row, (a, b) in zip(inputs, spans, strict=True):
        ambient[a:b] = row[s.U_AMBIENT] + row[s.U_SLOPE] * (time[a:b] - row[s.U_START])
        engine[a:b] = row[s.U_ENGINE]
    names = ("pump.current", "pump.voltage", "supply", "pump.command", "vent.command")
    channels |= {name: seen[n + i] for i, name in enumerate(names)}
    if vehicle.reservoir is not None:
        channels["pressure.reservoir"] = seen[n + 5]
    elif n == 4:
        channels["pressure.gallery"] = seen[n + 5]
    return channels | {"ambient": ambient, "engine": engine}


def _sensed(
    i: int, packs: Sequence[s.Packed], spans: Sequence[tuple[int, int]], seen: Array,
    vehicle: VehicleParameters, noise: np.random.Generator,
) -> Array:  # fmt: skip
    """Return what a sensor reports, as `controller.read_sensor` does, for whole stretches."""
    first = packs[0].sensors[i]
    left, right = seen[int(first[s.S_FIRST])], seen[int(first[s.S_LAST])]
    out: Array = (left + right) * (0.5 / vehicle.lever)
    for pack, (a, b) in zip(packs, spans, strict=True):
        row = pack.sensors[i]
        if row[s.S_BROKEN] > 0.0:
            out[a:b] = row[s.S_HANGS]
        if row[s.S_GAIN] or row[s.S_BENT] or row[s.S_SUPPLY] or row[s.S_OPEN]:
            out[a:b] = _through_link(row, out[a:b])
        out[a:b] += row[s.S_OFFSET]
        if row[s.S_NOISE] > 0.0:
            out[a:b] += row[s.S_NOISE] * noise.standard_normal(b - a)
        if row[s.S_STEP] > 0.0:
            out[a:b] = np.rint(out[a:b] / row[s.S_STEP]) * row[s.S_STEP]
    return out


def _through_link(row: Array, height: Array) -> Array:
    angle = np.arcsin(np.clip(height / row[s.S_ARM], -1.0, 1.0))
    angle = angle * (1.0 + row[s.S_GAIN]) + row[s.S_BENT]
    share = np.clip(0.5 + angle / row[s.S_SPAN], 0.0, 1.0) * (1.0 - row[s.S_SUPPLY])
    share = share * (row[s.S_OPEN] == 0.0)
    sensed: Array = row[s.S_ARM] * np.sin((share - 0.5) * row[s.S_SPAN])
    return sensed


def _truth(vehicle: VehicleParameters, seen: Array, hidden: Array, nv: int) -> Truth:
    names = [*vehicle.corners, "gallery", "reservoir"][:nv]
    n, extra = len(vehicle.springs), 3 * nv
    temps = {name: hidden[nv + i] / (CV * hidden[i]) for i, name in enumerate(names)}
    at = extra + EXTRAS + 1
    return Truth(
        heights={c: seen[i] / vehicle.lever for i, c in enumerate(vehicle.corners)},
        masses={name: hidden[i] for i, name in enumerate(names)},
        temperatures=temps | {"head": hidden[extra], "connector": hidden[extra + 1]},
        pressures={name: hidden[2 * nv + i] for i, name in enumerate(names)},
        water=hidden[extra + 3],
        charge=hidden[extra + 4],
        valves={c: hidden[at + i] for i, c in enumerate(vehicle.corners)}
        | ({"reservoir": hidden[at - 1]} if nv > n + 1 else {}),
    )
