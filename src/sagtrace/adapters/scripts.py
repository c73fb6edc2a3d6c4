"""A script for the virtual vehicle, as people write it: YAML with units in words.

Read into a `Plan`, with every mistake at its line: what is wrong, what is allowed, the nearest
right name. Values are texts such as "10 h 5 min", "-5 °C", "100 kg"; a bare zero is a zero. Facts
are those of a job file. Limits: see the constants; a run's length is limited where it is run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from sagtrace.adapters.documents import LocatedDocument, load_located, write_document
from sagtrace.app.plans import FaultBook, Plan, WantedFault, check_seed
from sagtrace.errors import DocumentError, DomainError, InputError, UnknownIdError
from sagtrace.evidence.facts import read_facts
from sagtrace.physics.constants import T_ICE
from sagtrace.twin.script import Ambient, Door, Engine, Event, Lift, Load, Mode, Script
from sagtrace.units import parse_quantity
from sagtrace.vehicle.nodes import Fault
from sagtrace.vehicle.system import System, base_id

__all__ = ["read_script", "script_from_data"]

Typed: TypeAlias = str | int | float
Path: TypeAlias = tuple[str | int, ...]

COLDEST, WARMEST = 213.15, 343.15  # [K] chosen: -60 to 70 °C, beyond any weather and paint oven
MOST_LOAD = 1500.0  # [kg] chosen: more than one wheel of anything that rides on these springs
MOST_SIZE = 100.0  # [-] chosen: times the usual number of a fault's state
ACTIONS = ("ambient", "engine", "load", "door", "lift", "mode")
SLOW = ("ambient", "load", "lift")  # what takes time, so that `over` means something


@dataclass(frozen=True, slots=True, kw_only=True)
class _Event:
    at: Typed
    ambient: Typed | None = None
    engine: Literal["on", "off"] | None = None
    load: Mapping[str, Typed] | None = None
    door: Literal["open", "closed"] | None = None
    lift: Literal["up", "down"] | None = None
    mode: Literal["on", "off"] | None = None
    over: Typed | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fault:
    fault: str
    state: str = ""
    size: float = 1.0
    onset: Typed = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Script:
    title: str = ""
    layout: str
    duration: Typed
    ambient: Typed = "20 °C"
    engine: Literal["on", "off"] = "off"
    seed: int = 0
    events: tuple[_Event, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[_Fault, ...] = ()


def read_script(
    data: bytes,
    name: str,
    system_of: Callable[[str], System],
    book: FaultBook,
) -> Plan:
    """Return the plan that a script's bytes hold.

    `system_of` gives the system of a layout; each fault is tried on the `book`. Raises
    DocumentError, with `name` as the file, for anything that cannot be right.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as err:
        line = data.count(b"\n", 0, err.start) + 1
        problem = "bytes that are no text; expected a YAML file saved as UTF-8"
        raise DocumentError(name, line, "", problem) from None
    document = load_located(text, name)
    return _Reader(document).plan(document.into(_Script), system_of, book)


def script_from_data(data: Mapping[str, Any]) -> bytes:
    """Return the fields of a script, as plain data, as the file that would hold them."""
    return write_document(data).encode("utf-8")


class _Reader:
    """Turns the fields of one script into what they mean."""

    def __init__(self, document: LocatedDocument) -> None:
        self.document = document

    @contextmanager
    def at(self, *path: str | int) -> Iterator[None]:
        """Give the place in the file to what is refused inside."""
        try:
            yield
        except InputError as err:
            raise self.document.error(path, str(err)) from None

    def plan(self, raw: _Script, system_of: Callable[[str], System], book: FaultBook) -> Plan:
        with self.at("layout"):
            system = system_of(raw.layout)
        duration = self.quantity(raw.duration, "time", "duration")
        if duration == 0.0:
            with self.at("duration"):
                raise DomainError("duration", 0.0, "s", "above zero")
        with self.at("seed"):
            check_seed(raw.seed)
        with self.at("facts"):
            vehicle = book.vehicle(system.layout, self.facts(raw.facts, system))
        script = Script(
            duration=duration,
            ambient=self.temperature(raw.ambient, "ambient"),
            engine=raw.engine == "on",
            events=tuple(
                self.event(event, system, duration, ("events", i))
                for i, event in enumerate(raw.events)
            ),
        )
        faults = tuple(
            self.fault(fault, system, duration, ("faults", i)) for i, fault in enumerate(raw.faults)
        )
        for i, fault in enumerate(faults):
            with self.at("faults", i):
                book.put_in(vehicle, script, [fault])
        return Plan(
            layout=raw.layout,
            script=script,
            title=raw.title,
            seed=raw.seed,
            facts=raw.facts,
            faults=faults,
        )

    def facts(self, typed: Mapping[str, str], system: System) -> dict[str, float]:
        """Return the facts that were typed, in SI, each tried by itself."""
        barometer = {id_: typed[id_] for id_ in ("barometer",) if id_ in typed}
        values = {}
        for id_, text in typed.items():
            with self.at("facts", id_):
                read = read_facts(system.layout, {**barometer, id_: text})
                values[id_] = read.values[id_].value
        return values

    def quantity(self, typed: Typed, kind: str, *path: str | int) -> float:
        """Return a typed quantity in SI."""
        if not isinstance(typed, str) and typed == 0 and kind != "temperature":
            return 0.0
        text = typed if isinstance(typed, str) else f"{typed:.12g}"
        try:
            return parse_quantity(text, kind, name=str(path[-1])).value
        except InputError as err:
            raise self.document.error(path, str(err)) from None

    def temperature(self, typed: Typed, *path: str | int) -> float:
        value = self.quantity(typed, "temperature", *path)
        with self.at(*path):
            if not COLDEST <= value <= WARMEST:
                rule = f"from {COLDEST - T_ICE:g} to {WARMEST - T_ICE:g}"
                raise DomainError(str(path[-1]), value - T_ICE, "°C", rule)
        return value

    def within(self, typed: Typed, duration: float, *path: str | int) -> float:
        """Return a time that must lie inside the run."""
        value = self.quantity(typed, "time", *path)
        with self.at(*path):
            if value > duration:
                rule, hint = f"within the run, which lasts {duration:g} s", "Make it longer?"
                raise DomainError(str(path[-1]), value, "s", rule, hint)
        return value

    def event(self, raw: _Event, system: System, duration: float, path: Path) -> Event:
        at = self.within(raw.at, duration, *path, "at")
        given = [action for action in ACTIONS if getattr(raw, action) is not None]
        if len(given) != 1:
            found = " and ".join(given) or "none"
            problem = f"expected one of {', '.join(ACTIONS)}, found {found}"
            raise self.document.error(path, problem)
        (action,) = given
        over = {}
        if raw.over is not None:
            if action not in SLOW:
                problem = f"nothing goes slowly about {action}; it fits {', '.join(SLOW)}"
                raise self.document.error((*path, "over"), problem)
            over = {"over": self.quantity(raw.over, "time", *path, "over")}
        if raw.ambient is not None:
            return Ambient(at=at, to=self.temperature(raw.ambient, *path, "ambient"), **over)
        if raw.load is not None:
            return Load(at=at, kilograms=self.load(raw.load, system, (*path, "load")), **over)
        if raw.lift is not None:
            return Lift(at=at, up=raw.lift == "up", **over)
        if raw.engine is not None:
            return Engine(at=at, on=raw.engine == "on")
        if raw.door is not None:
            return Door(at=at, open=raw.door == "open")
        return Mode(at=at, on=raw.mode == "on")

    def load(self, raw: Mapping[str, Typed], system: System, path: Path) -> dict[str, float]:
        corners = [corner.id for corner in system.layout.corners]
        if not raw:
            raise self.document.error(path, f"expected a mass at one of {', '.join(corners)}")
        masses = {}
        for corner, typed in raw.items():
            here = (*path, corner)
            with self.at(*here):
                if corner not in corners:
                    raise UnknownIdError("corner", corner, corners)
            masses[corner] = self.quantity(typed, "mass", *here)
            with self.at(*here):
                if masses[corner] > MOST_LOAD:
                    rule = f"at most {MOST_LOAD:g} at one wheel"
                    raise DomainError(corner, masses[corner], "kg", rule)
        return masses

    def fault(self, raw: _Fault, system: System, duration: float, path: Path) -> WantedFault:
        with self.at(*path, "fault"):
            if raw.fault not in system.faults:
                corners = [name for name in system.faults if base_id(name) == raw.fault]
                hint = f"Say which corner: {', '.join(corners)}." if corners else ""
                raise UnknownIdError("fault", raw.fault, system.faults, hint)
        state = self.state(raw, system.faults[raw.fault], path)
        with self.at(*path, "size"):
            if not 0.0 < raw.size <= MOST_SIZE:
                raise DomainError("size", raw.size, "", f"above zero and at most {MOST_SIZE:g}")
        onset = self.within(raw.onset, duration, *path, "onset")
        return WantedFault(fault=raw.fault, state=state, size=raw.size, onset=onset)

    def state(self, raw: _Fault, fault: Fault, path: Path) -> str:
        """Return the state, which may be left out where there is one only."""
        present = fault.state_ids[1:]
        if not raw.state and len(present) == 1:
            return present[0]
        with self.at(*path, "state"):
            if not raw.state:
                raise InputError(f"say how bad {fault.id} is: {', '.join(present)}.")
            if raw.state not in present:
                raise UnknownIdError(f"state of {fault.id}", raw.state, present)
        return raw.state
