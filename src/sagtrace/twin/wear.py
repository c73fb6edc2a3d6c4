"""What running does to pump and connector over weeks, so that a leak left alone has consequences.

The law, all chosen: while the pump runs, the gap at its ring, the resistance of its brushes and of
its connector grow at a rate that doubles for every `doubling` kelvins of head or connector. The
connector heats itself, so its growth feeds on itself. The relay's contacts burn a little at every
start, by the same doubling; they are taken to be as warm as the connector, whose current they
carry. Rates are set so that a pump kept at its run budget for half a year of working days gives
about half and its joints are as bad as burnt ones, and one that runs a minute a day takes some
seven years.

Weeks are quasi-static: one day is simulated with the wear of its week, and the week's growth is
seven times that day's. Wear within a week does not act back before the next one; with `per_week`
days the same day is simulated once and counted so often.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError
from sagtrace.twin.codes import SetCode
from sagtrace.twin.faults import FaultParameters, TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Script
from sagtrace.twin.simulate import Simulation, simulate

__all__ = ["Wear", "WearLaw", "Week", "wear_of", "weeks_of_use"]

RUNNING = 1.0  # [A] chosen: a motor that turns or stalls draws more


@dataclass(frozen=True, slots=True, kw_only=True)
class WearLaw:
    """Growth for each second of running at the reference temperature. All chosen."""

    ring: float = 5e-15  # [m^3/(s Pa)/s] gap at the ring, told as conductance
    head_reference: float = 300.0  # [K]
    brushes: float = 3e-7  # [ohm/s]
    connector: float = 2e-7  # [ohm/s]
    connector_reference: float = 295.0  # [K]
    contacts: float = 4e-6  # [ohm] for each start
    doubling: float = 15.0  # [K]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """How much has grown so far."""

    ring: float = 0.0  # [m^3/(s Pa)]
    brushes: float = 0.0  # [ohm]
    connector: float = 0.0  # [ohm]
    contacts: float = 0.0  # [ohm] of the relay

    def plus(self, other: Wear, times: float = 1.0) -> Wear:
        """Return this wear with another one so many times on top."""
        return Wear(
            ring=self.ring + times * other.ring,
            brushes=self.brushes + times * other.brushes,
            connector=self.connector + times * other.connector,
            contacts=self.contacts + times * other.contacts,
        )

    def fault(self) -> TimedFault:
        """Return the wear as something that can be put into a vehicle."""
        change = FaultParameters(
            ring_leak=self.ring,
            armature=self.brushes,
            connector=self.connector,
            relay=self.contacts,
        )
        return TimedFault(name="wear", change=change)


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """One week: the wear it began with, and its day."""

    number: int
    wear: Wear
    running: float  # [s] a day
    starts: int  # of the pump, a day
    delivery: float  # [kg/s] mean over its running; zero if it never ran
    hottest_head: float  # [K]
    hottest_connector: float  # [K]
    lowest: float  # [m] lowest corner below ride height at the wheel arch
    codes: tuple[SetCode, ...]


def wear_of(run: Simulation, law: WearLaw) -> Wear:
    """Return what one run adds. The run must hold its truth, sampled faster than a pump run."""
    if run.truth is None:
        raise DomainError("truth", 0.0, "", "kept", "Simulate with truth=True.")
    step = float(run.time[1] - run.time[0])
    on = _running(run)
    running = on * step
    head = np.exp2((run.truth.temperatures["head"] - law.head_reference) / law.doubling)
    joint = run.truth.temperatures["connector"]
    hot = np.exp2((joint - law.connector_reference) / law.doubling)
    return Wear(
        ring=float(law.ring * (running * head).sum()),
        brushes=float(law.brushes * (running * head).sum()),
        connector=float(law.connector * (running * hot).sum()),
        contacts=float(law.contacts * (_starts(on) * hot[1:]).sum()),
    )


def _running(run: Simulation) -> NDArray[np.bool_]:
    """Return when the motor ran; what trickles through an open winding does not turn it."""
    return np.asarray(run.channels["pump.current"] > RUNNING)


def _starts(on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray(on[1:] & ~on[:-1])


def weeks_of_use(
    vehicle: VehicleParameters,
    day: Script,
    *,
    faults: Sequence[TimedFault] = (),
    weeks: int,
    law: WearLaw | None = None,
    per_week: float = 7.0,
    seed: int = 0,
    rate: float = 1.0,
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[Week, ...]:
    """Return week after week of the same day with the same faults and growing wear."""
    if weeks < 1:
        raise DomainError("weeks", weeks, "", "one or more")
    law = law or WearLaw()
    wear, told = Wear(), []
    for number in range(weeks):
        run = simulate(vehicle, day, faults=(*faults, wear.fault()), seed=seed + number, rate=rate)
        told.append(_week(number, wear, run))
        wear = wear.plus(wear_of(run, law), per_week)
        progress(number + 1)
    return tuple(told)


def _week(number: int, wear: Wear, run: Simulation) -> Week:
    assert run.truth is not None
    step = float(run.time[1] - run.time[0])
    on = _running(run)
    return Week(
        number=number,
        wear=wear,
        running=float(on.sum() * step),
        starts=int(np.count_nonzero(_starts(on))),
        delivery=float(run.truth.delivery[on].mean()) if on.any() else 0.0,
        hottest_head=float(run.truth.temperatures["head"].max()),
        hottest_connector=float(run.truth.temperatures["connector"].max()),
        lowest=float(min(height.min() for height in run.truth.heights.values())),
        codes=run.codes,
    )
