"""The effects checked against the knowledge and against what the virtual vehicle can take.

Every unhealthy state of every fault has exactly one outcome in every layout that has the fault;
an outcome changes something or says why it can't; ids, units and spreads are right. Each problem
names its path below `effects`, so that the loader can point at the line.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sagtrace.errors import SagtraceError, UnknownIdError
from sagtrace.twin._effect_laws import NUMBERS, SWITCHES
from sagtrace.twin._effect_records import Effect, Effects, Outcome, Size
from sagtrace.twin.codes import CODE_CLASSES
from sagtrace.twin.measures import in_si
from sagtrace.vehicle.nodes import Fault
from sagtrace.vehicle.system import applies

__all__ = ["effect_problems"]

Path = tuple[str | int, ...]
Said = tuple[Path, str]

LEAST_REASON = 20  # [characters] chosen: a reason is a sentence


def effect_problems(effects: Effects) -> Iterator[Said]:
    """Yield path and text of what is wrong, records first, then what is missing."""
    for i, record in enumerate(effects.records):
        for path, text in _in_record(record, effects):
            yield (i, *path), text
    yield from _coverage(effects)


def _unknown(kind: str, given: str, known: Iterable[str]) -> str:
    return str(UnknownIdError(kind, given, known))


def _in_record(record: Effect, effects: Effects) -> Iterator[Said]:
    faults = {fault.id: fault for fault in effects.knowledge.faults}
    fault = faults.get(record.fault)
    if fault is None:
        yield ("fault",), _unknown("fault", record.fault, faults)
        return
    features = {f for layout in effects.knowledge.layouts for f in layout.features}
    if record.only_with and record.only_with not in features:
        yield ("only_with",), _unknown("feature", record.only_with, features)
    for state, outcome in record.states.items():
        here: Path = ("states", state)
        if state not in fault.state_ids[1:]:
            text = _unknown(f"unhealthy state of {fault.id},", state, fault.state_ids[1:])
            yield here, text
        for path, text in _in_outcome(fault, outcome, effects):
            yield (*here, *path), text


def _in_outcome(fault: Fault, outcome: Outcome, effects: Effects) -> Iterator[Said]:
    does = bool(outcome.sets or outcome.switches or outcome.code)
    if outcome.not_expressible:
        if does:
            yield ("not_expressible",), "it is put in here, so there is no reason why it is not"
        if len(outcome.not_expressible) < LEAST_REASON:
            yield ("not_expressible",), "the reason must be a sentence"
    elif not does:
        yield (), "it changes nothing; say not_expressible with the reason"
    for name, size in outcome.sets.items():
        here: Path = ("sets", name)
        if name not in NUMBERS:
            yield here, _unknown("number", name, NUMBERS)
            continue
        yield from ((here, text) for text in _at_a_corner(fault, name))
        for path, text in _in_size(size, NUMBERS[name], effects):
            yield (*here, *path), text
    if outcome.sets and not any(size.like or size.shape for size in outcome.sets.values()):
        yield ("sets",), "none of its sizes has a spread"
    for i, name in enumerate(outcome.switches):
        if name not in SWITCHES:
            yield ("switches", i), _unknown("switch", name, SWITCHES)
        yield from ((("switches", i), text) for text in _at_a_corner(fault, name))
    if outcome.code and outcome.code not in CODE_CLASSES:
        yield ("code",), _unknown("class of codes", outcome.code, CODE_CLASSES)
    if "script.fall" in outcome.sets and "script.fall_time" not in outcome.sets:
        yield ("sets", "script.fall"), "a fall takes a time: say script.fall_time too"


def _at_a_corner(fault: Fault, name: str) -> Iterator[str]:
    if name.startswith("corner.") and fault.per != "corner":
        yield f"{fault.id} is not per corner, so it has no {name}"


def _in_size(size: Size, si: str, effects: Effects) -> Iterator[Said]:
    if size.like:
        yield from _likeness(size, effects)
    else:
        yield from _stated(size, effects)
    if size.like and not (size.like in effects.nodes and effects.nodes[size.like].quantity):
        return
    try:
        in_si(1.0, effects.spread(size)[2], si)
    except SagtraceError as err:
        yield ("like" if size.like else "unit",), str(err)


def _likeness(size: Size, effects: Effects) -> Iterator[Said]:
    if size.value is not None or size.unit or size.shape or size.width or size.basis:
        yield ("like",), "either like a quantity of the knowledge, or a value with unit and basis"
    node = effects.nodes.get(size.like)
    if node is None:
        yield ("like",), _unknown("fault or condition", size.like, effects.nodes)
    elif node.quantity is None:
        yield ("like",), f"{node.id} has no quantity"
    elif size.state not in node.state_ids[1:]:
        text = _unknown(f"unhealthy state of {node.id},", size.state, node.state_ids[1:])
        yield ("state",), text


def _stated(size: Size, effects: Effects) -> Iterator[Said]:
    if size.value is None:
        yield (), "either like a quantity of the knowledge, or a value with unit and basis"
    sources = [source.id for source in effects.knowledge.sources]
    if size.basis not in sources:
        yield ("basis",), _unknown("source", size.basis, sources)
    least = {"": 0.0, "lognormal": 1.0, "normal": 0.0}[size.shape]
    if bool(size.shape) != (size.width > least):
        yield ("width",), f"a spread needs a shape and a width above {least:g}, or neither"
    if size.shape == "lognormal" and size.value is not None and size.value <= 0.0:
        yield ("value",), "a lognormal spread needs a value above zero"


def _coverage(effects: Effects) -> Iterator[Said]:
    for layout in effects.knowledge.layouts:
        features = ("", *layout.features)
        for fault in effects.knowledge.faults:
            if not applies(fault, layout):
                continue
            for state in fault.state_ids[1:]:
                holding = [
                    i for i, r in enumerate(effects.records)
                    if r.fault == fault.id and state in r.states and r.only_with in features
                ]  # fmt: skip
                which = f"the state {state!r} of {fault.id} in the layout {layout.id!r}"
                if not holding:
                    yield (), f"nothing says what {which} changes"
                elif len(holding) > 1:
                    yield (holding[1],), f"a second record for {which}"
