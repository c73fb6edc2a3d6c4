"""What a person can do to find out: checks, what they need, and what they may show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from sagtrace.vehicle.nodes import Axle, Per

__all__ = ["Access", "Caution", "Check", "Input", "Measure", "Outcome", "Row"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """What can hurt somebody or break something, said before the step that needs it."""

    id: str
    level: Literal["danger", "warning", "notice"]
    text: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """A state of the vehicle in the bay that a check needs, and what it costs to reach and undo."""

    id: str
    name: str
    minutes_on: float
    minutes_off: float
    back: str  # what a person does to end it, as an order
    after: tuple[str, ...] = ()  # other access states that must hold first
    back_without: tuple[str, ...] = ()  # states that must be ended before this one can be
    cautions: tuple[str, ...] = ()  # of reaching it
    cautions_off: tuple[str, ...] = ()  # of undoing it
    axle: Axle = ""  # exists only where this axle has an air spring
    at_front: str = ""  # the state that a front corner needs in its place
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One answer on a check's list."""

    id: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """How often each outcome is seen while the nodes in `when` are in the stated states.

    The first row that fits counts; a row with an empty `when` fits always. A state may be a
    single id or several ids that share the row.
    """

    when: Mapping[str, str | tuple[str, ...]]
    shows: Mapping[str, float]
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One number that the person measures for a check."""

    name: str
    kind: str  # a quantity kind of units.KINDS
    unit: str  # taken when the person types a bare number
    ask: str
    error: (
        float  # one standard deviation of the usual way of measuring, in `unit`, beside resolution
    )
    required: bool = True
    at_least: float | None = None  # in `unit`: a reading below this is a slip
    at_most: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """Which evidence model turns the inputs into the quantity of a node."""

    model: str  # a name in evidence.MODELS
    node: str
    inputs: tuple[Input, ...]
    typical_std: float = 0.0  # in the quantity's unit; used for planning before the number is known
    typical_relative: float = 0.0
    gross_error: float  # chance that the number is simply wrong (misread, wrong point)
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Something a person can do, with what it costs, needs, and may show.

    What a customer is asked tells of the time before the vehicle came, as does an `arrival` check.
    Exactly one of `rows` (an observation with outcomes) and `measure` (a number) is given.
    """

    id: str
    name: str
    per: Per = "vehicle"
    kind: Literal["ask", "look", "listen", "measure", "try", "read"]
    minutes: float
    wait_minutes: float = 0.0  # nobody has to stand there
    needs: tuple[str, ...] = ()
    without: tuple[str, ...] = ()  # access states that must be undone first
    arrival: bool = False  # tells how the vehicle came in, so no work changes what it says
    yields_to: tuple[str, ...] = ()  # says nothing new once one of these is answered (same data)
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    steps: tuple[str, ...]
    expect: str
    why: str
    outcomes: tuple[Outcome, ...] = ()
    rows: tuple[Row, ...] = ()
    measure: Measure | None = None
    only_with: str = ""
    axle: Axle = ""  # looks at this axle's corners alone; without any it does not exist
    basis: str

    @property
    def of_old(self) -> bool:
        """Whether it tells of the vehicle as it came, however late it is answered."""
        return self.arrival or self.kind == "ask"
