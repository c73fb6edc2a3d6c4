"""A system small enough to list every joint state of, with round numbers to work with by hand.

Invented throughout: it looks like a suspension so that the tests read well, no more.

    leak (slow, fast) -> overrun -> pump -> fuse          tap (two causes, to share blame)
    leak, pump, relay, fuse, other -> low                 fuse <- relay

Labour costs 1 a minute and waiting 0.1 a minute.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from graphlib import TopologicalSorter
from typing import Any

from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import Finding, check_leaf
from sagtrace.vehicle.checks import Access, Check, Measure, Outcome, Row
from sagtrace.vehicle.layouts import Corner, Layout
from sagtrace.vehicle.nodes import Cause, Condition, Fault, Node, Quantity, Spread, State
from sagtrace.vehicle.repairs import Part, PartUse, Proof, Repair, Tariff
from sagtrace.vehicle.system import System

__all__ = [
    "cause",
    "condition",
    "fault",
    "found",
    "look",
    "small_reasoner",
    "small_system",
    "system_of",
]

Gives = Mapping[str, Mapping[str, float]]


def cause(parent: str, gives: Gives, story: str = "") -> Cause:
    return Cause(parent=parent, gives=gives, basis="invented", story=story)


def _states(ids: str) -> tuple[State, ...]:
    return tuple(State(id=id_, text=id_) for id_ in ids.split())


def fault(
    id_: str,
    background: Mapping[str, float],
    *causes: Cause,
    states: str = "absent present",
    returns: float = 0.5,
) -> Fault:
    return Fault(
        id=id_,
        name=id_,
        states=_states(states),
        background=background,
        causes=causes,
        basis="invented",
        component="part",
        plain=id_,
        returns=returns,
        kind="other" if id_ == "other" else "part",
    )


def condition(
    id_: str,
    states: str,
    background: Mapping[str, float],
    *causes: Cause,
    quantity: Quantity | None = None,
) -> Condition:
    return Condition(
        id=id_,
        name=id_,
        states=_states(states),
        background=background,
        causes=causes,
        basis="invented",
        quantity=quantity,
    )


def look(
    id_: str, outcomes: str, *rows: tuple[Mapping[str, Any], str], minutes: float = 5.0, **more: Any
) -> Check:
    """Return a check; a row is what it looks at and the outcomes' probabilities, in order."""
    names = outcomes.split()
    return Check(
        id=id_,
        name=id_,
        kind="look",
        minutes=minutes,
        steps=(),
        expect="",
        why="",
        outcomes=tuple(Outcome(id=name, text=name) for name in names),
        rows=tuple(
            Row(
                when=when,
                shows=dict(zip(names, map(float, shows.split()), strict=True)),
                basis="invented",
            )
            for when, shows in rows
        ),
        basis="invented",
        **more,
    )


def found(system: System, check_id: str, outcome: str, id_: str = "") -> Finding:
    """Return the finding that the check showed this outcome."""
    names = [o.id for o in system.checks[check_id].outcomes]
    assert outcome in names
    return Finding(
        id=id_ or check_id,
        source=check_id,
        name=check_id,
        text=outcome,
        target=check_leaf(check_id),
        likelihood=tuple(float(name == outcome) for name in names),
    )


def system_of(
    nodes: list[Node],
    checks: list[Check],
    repairs: list[Repair] | None = None,
    access: list[Access] | None = None,
    proofs: list[Proof] | None = None,
    parts: tuple[Part, ...] = (),
) -> System:
    """Return a system of these records, priced at 60 an hour."""
    known = {node.id: node for node in nodes}
    graph = {id_: {c.parent for c in node.causes} for id_, node in known.items()}
    return System(
        layout=Layout(
            id="small",
            name="small",
            description="",
            corners=(Corner(id="left", name="left"),),
            facts=(),
            basis="invented",
        ),
        edition="small",
        digest="",
        nodes={id_: known[id_] for id_ in TopologicalSorter(graph).static_order()},
        checks={check.id: check for check in checks},
        repairs={repair.id: repair for repair in repairs or []},
        proofs={proof.id: proof for proof in proofs or []},
        access={state.id: state for state in access or []},
        cautions={},
        components={},
        sources={},
        tariff=Tariff(
            id="small",
            name="small",
            currency="EUR",
            labour_per_hour=60.0,
            waiting_per_hour=6.0,
            tax=0.2,
            come_back=300.0,
            period_months=12,
            parts=parts,
            basis="invented",
        ),
    )


def _access(id_: str, on: float, off: float, *after: str) -> Access:
    return Access(
        id=id_, name=id_, back=id_, minutes_on=on, minutes_off=off, after=after, basis="invented"
    )


def _repair(id_: str, fixes: str, minutes: float, holds: float, **more: Any) -> Repair:
    return Repair(
        id=id_,
        name=id_,
        fixes=tuple(fixes.split()),
        minutes=minutes,
        holds=holds,
        plain=id_,
        done=id_,
        basis="invented",
        **more,
    )


def small_system() -> System:
    """Return six faults, two conditions, seven checks: 1 x 3 x 2^7 joint states."""
    duty = Quantity(
        name="duty",
        unit="%",
        states={
            "normal": Spread(shape="normal", centre=2.0, width=1.0),
            "excessive": Spread(shape="normal", centre=9.0, width=3.0),
        },
        basis="invented",
    )
    nodes: list[Node] = [
        fault("leak", {"slow": 0.10, "fast": 0.05}, states="absent slow fast", returns=0.9),
        fault("relay", {"present": 0.05}, returns=0.95),
        fault("other", {"present": 0.03}, returns=0.8),
        condition(
            "overrun",
            "normal excessive",
            {"excessive": 0.02},
            cause("leak", {"fast": {"excessive": 0.6}}, "the leak keeps the pump running"),
            quantity=duty,
        ),
        fault(
            "pump",
            {"present": 0.06},
            cause("overrun", {"excessive": {"present": 0.5}}, "running on wears the pump"),
            returns=0.9,
        ),
        fault(
            "fuse",
            {"present": 0.02},
            cause("pump", {"present": {"present": 0.2}}, "a worn pump draws too much"),
            cause("relay", {"present": {"present": 0.1}}),
        ),
        fault("valve", {"present": 0.04}, returns=0.7),
        condition(
            "low",
            "level low",
            {"low": 0.01},
            cause("leak", {"slow": {"low": 0.5}, "fast": {"low": 0.9}}),
            cause("pump", {"present": {"low": 0.6}}),
            cause("relay", {"present": {"low": 0.9}}),
            cause("fuse", {"present": {"low": 0.95}}),
            cause("valve", {"present": {"low": 0.7}}),
            cause("other", {"present": {"low": 0.5}}),
        ),
    ]
    meter = Check(
        id="meter",
        name="meter",
        kind="measure",
        minutes=6.0,
        steps=(),
        expect="",
        why="",
        measure=Measure(
            model="plain", node="overrun", inputs=(), typical_std=0.5, gross_error=0.02, basis=""
        ),
        basis="invented",
    )
    checks = [
        look("ask", "low level", ({"low": "low"}, "0.95 0.05"), ({}, "0.05 0.95"), minutes=1.0),
        look(
            "soap",
            "bubbles none",
            ({"leak": "fast"}, "0.9 0.1"),
            ({"leak": "slow"}, "0.6 0.4"),
            ({}, "0.02 0.98"),
            needs=("up",),
        ),
        look(
            "listen",
            "steady laboured silent",
            ({"relay": "present"}, "0.01 0.01 0.98"),
            ({"fuse": "present"}, "0.01 0.01 0.98"),
            ({"pump": "present"}, "0.2 0.7 0.1"),
            ({}, "0.9 0.08 0.02"),
            minutes=3.0,
        ),
        look("relay.swap", "works same", ({"relay": "present"}, "0.95 0.05"), ({}, "0.02 0.98")),
        look(
            "fuse.look",
            "blown whole",
            ({"fuse": "present"}, "0.97 0.03"),
            ({}, "0.01 0.99"),
            needs=("cover",),
            without=("plugged",),
        ),
        look(
            "overnight",
            "fell held",
            ({"leak": ("slow", "fast")}, "0.97 0.03"),
            ({}, "0.03 0.97"),
            minutes=6.0,
            wait_minutes=600.0,
        ),
        meter,
        look("coin", "heads tails", ({}, "0.5 0.5"), minutes=2.0),
    ]
    repairs = [
        _repair("leak.mend", "leak", 30.0, 0.9, needs=("up",), parts=(PartUse(part="seal"),)),
        _repair(
            "pump.unit",
            "pump fuse valve",
            60.0,
            0.96,
            needs=("cover",),
            parts=(PartUse(part="unit"),),
        ),
        _repair(
            "pump.kit",
            "pump",
            80.0,
            0.7,
            needs=("cover",),
            parts=(PartUse(part="ring", quantity=2),),
        ),
        _repair("relay.renew", "relay", 10.0, 0.95, parts=(PartUse(part="relay"),)),
        _repair("fuse.renew", "fuse", 8.0, 0.9, needs=("cover",), parts=(PartUse(part="fuse"),)),
        _repair("valve.renew", "valve", 25.0, 0.9, needs=("cover", "up")),
        _repair("other.refer", "other", 120.0, 0.7),
    ]
    parts = (
        Part(id="seal", name="seal", price=20.0, spread=1.25),
        Part(id="unit", name="unit", price=200.0, spread=1.4),
        Part(id="ring", name="ring", price=25.0, spread=1.2),
        Part(id="relay", name="relay", price=24.0, spread=1.25),
        Part(id="fuse", name="fuse", price=2.0, spread=1.1),
    )
    access = [
        _access("up", 8.0, 6.0),
        _access("cover", 4.0, 5.0, "up"),
        _access("plugged", 1.0, 2.0),
        _access("charger", 1.0, 1.0, "plugged"),
    ]
    proofs = [
        Proof(
            id="hold",
            faults=("leak",),
            check="overnight",
            outcome="held",
            text="",
            basis="invented",
        )
    ]
    return system_of(nodes, checks, repairs, access, proofs, parts)


@cache
def small_reasoner() -> Reasoner:
    """Return the compiled small system."""
    return Reasoner(small_system())
