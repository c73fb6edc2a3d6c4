"""Practice: jobs on an invented vehicle whose faults are hidden, and what it shows to each check.

What is hidden follows from the job's seed alone, so a job file holds no answer to look up. It is
drawn as often as the knowledge says, from vehicles that somebody would bring in: the knowledge must
let them ride low, and so must the virtual vehicle itself. A repair takes its faults out of the
vehicle; what was not repaired stays. What a workshop manual would say of the vehicle is told from
the start, because without it nobody can prove a new pump.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from sagtrace.app.workshop import COMPLAINT, Workshop
from sagtrace.errors import InputError
from sagtrace.vehicle.job import NOT_DONE, Entry, Job
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.system import System

if TYPE_CHECKING:  # because the compiler takes longer to import than most pages take
    from sagtrace.twin.bay.vehicle import BayVehicle
    from sagtrace.twin.virtual import VirtualKnowledge

__all__ = ["by_plan", "Hidden", "LONGEST", "practice_job", "Trainer"]

LOW = "complaint"  # the condition that says why anybody brought the vehicle in
OTHER = "other"  # nobody can look for what is not on the list
MOST = 3  # chosen: faults at once, so that a session has an end
DRAWS = 5000  # chosen: far more than a layout needs until one rides low
LONGEST = 15  # chosen: checks of the plan's own way; each takes about a second to work out
# What a manual gives, and within how much a sound part keeps it; springs and body it does not tell.
MANUAL, WITHIN = ("pump-delivery", "pump-current"), 0.05
HELD = 8  # chosen: vehicles that stay at hand with what was simulated on them


@dataclass(frozen=True, slots=True, kw_only=True)
class Hidden:
    """A fault of the invented vehicle, and whether a repair took it out."""

    fault: str
    state: str
    repaired: bool


@dataclass(kw_only=True)
class Trainer:
    """The invented vehicles of practice jobs. `known` gives their data when it is needed.

    Safe to use from several threads.
    """

    known: Callable[[], VirtualKnowledge]
    _vehicles: OrderedDict[tuple[str, int, tuple[str, ...]], BayVehicle] = field(
        default_factory=OrderedDict, init=False
    )
    _drawn: dict[tuple[str, int], Mapping[str, str]] = field(default_factory=dict, init=False)
    # Its own, because the first check compiles for many seconds and other jobs must not wait.
    _busy: threading.Lock = field(default_factory=threading.Lock, init=False)

    def hidden(self, system: System, job: Job) -> tuple[Hidden, ...]:
        """Return what is wrong with the vehicle of a practice job."""
        with self._busy:
            return self._hidden(system, job)

    def _hidden(self, system: System, job: Job) -> tuple[Hidden, ...]:
        fixed = {fault for repair in job.repaired for fault in system.repair(repair).fixes}
        return tuple(
            Hidden(fault=fault, state=state, repaired=fault in fixed)
            for fault, state in self._faults(system, _seed(job)).items()
        )

    def _faults(self, system: System, seed: int) -> Mapping[str, str]:
        key = (system.layout.id, seed)
        if key not in self._drawn:
            drawn = _draws(system, seed)
            self._drawn[key] = next(f for f in drawn if self._is_low(system, seed, f))
        return self._drawn[key]

    def is_low(self, system: System, job: Job) -> bool:
        """Return whether the vehicle as it is now, repairs and all, is one to be brought in."""
        with self._busy:
            left = {h.fault: h.state for h in self._hidden(system, job) if not h.repaired}
            return self._is_low(system, _seed(job), left)

    def _is_low(self, system: System, seed: int, hidden: Mapping[str, str]) -> bool:
        """Return whether a vehicle with these faults is one that somebody would bring in."""
        vehicle = self._kept(system, seed, hidden)
        return vehicle.true(LOW) != system.nodes[LOW].state_ids[0]

    def answer(self, system: System, job: Job, check_id: str) -> Entry:
        """Return what a person would enter for a check on this vehicle.

        Where it gives this check nothing to answer, that it could not be done and why.
        """
        from sagtrace.twin.bay.perform import perform

        earlier = sum(entry.check == check_id for entry in (*job.entries, *job.proofs))
        place = list(system.checks).index(system.check(check_id).id)
        # A seed of its own for every try, so that no other check changes what this one shows.
        rng = np.random.default_rng([_seed(job), place, earlier])
        with self._busy:
            found = perform(self._vehicle(system, job), check_id, rng)
        if not found.is_given:
            return Entry(id="", check=check_id, outcome=NOT_DONE, note=found.nothing)
        return Entry(id="", check=check_id, outcome=found.outcome, values=dict(found.values))

    def _vehicle(self, system: System, job: Job) -> BayVehicle:
        left = {h.fault: h.state for h in self._hidden(system, job) if not h.repaired}
        return self._kept(system, _seed(job), left)

    def _kept(self, system: System, seed: int, hidden: Mapping[str, str]) -> BayVehicle:
        key = (system.layout.id, seed, tuple(sorted(f"{f}={s}" for f, s in hidden.items())))
        if key not in self._vehicles:
            self._vehicles[key] = self._made(system, seed, hidden)
            while len(self._vehicles) > HELD:
                self._vehicles.popitem(last=False)
        return self._vehicles[key]

    def _made(self, system: System, seed: int, hidden: Mapping[str, str]) -> BayVehicle:
        from sagtrace.twin.bay.known import from_effects
        from sagtrace.twin.bay.vehicle import bay_vehicle

        known = self.known()
        return bay_vehicle(
            system,
            known.vehicles[system.layout.id],
            hidden,
            put_in=from_effects(known.effects),
            rng=np.random.default_rng([seed, 1]),
        )


def practice_job(layout: Layout, *, name: str, seed: int, opened: str = "") -> Job:
    """Return a new practice job, which hides what this seed says."""
    known = {fact.id: fact for fact in layout.facts if fact.id in MANUAL}
    told = {
        id_: f"{fact.value:g} ± {WITHIN * fact.value:.2g} {fact.unit}"
        for id_, fact in known.items()
    }
    job = Job(
        id=name, title=f"Practice {seed}", layout=layout.id, opened=opened, invented=True,
        practice=seed, complaint=COMPLAINT,
    )  # fmt: skip
    return job.tell(told, at=opened, by="manual of the invented vehicle")


def by_plan(
    workshop: Workshop, trainer: Trainer, job: Job, thinking: AbstractContextManager[object]
) -> tuple[Job, bool]:
    """Return the job as the plan would have checked it, and whether that came to an end.

    `thinking` is held while a step is worked out, and let go between two, so that others get on.
    """
    system = workshop.system(job.layout)
    way = Job(
        id=job.id, title=job.title, layout=job.layout, complaint=job.complaint,
        told=job.told, practice=job.practice,
    )  # fmt: skip
    done = 0
    while done < LONGEST:
        with thinking:
            plan = workshop.assess(way).plan
        if plan.action != "check":
            return way, True
        shown = trainer.answer(system, way, plan.offers[0].check)
        way, _ = workshop.answer(way, replace(shown, id=way.next_id()))
        done += shown.outcome != NOT_DONE
    return way, False


def _seed(job: Job) -> int:
    if not job.practice:
        raise InputError(f"job {job.id} is no practice: nothing is hidden in its vehicle.")
    return job.practice


def _draws(system: System, seed: int) -> Iterator[Mapping[str, str]]:
    """Yield faults that this seed may hide: some, with which the knowledge lets it ride low.

    Raises InputError where there are none.
    """
    from sagtrace.twin.bay.hidden import draw_hidden

    rng = np.random.default_rng([seed, 0])
    healthy = {id_: node.state_ids[0] for id_, node in system.nodes.items()}
    for _ in range(DRAWS):
        states = draw_hidden(system, rng)
        faults = {f: states[f] for f in system.faults if states[f] != healthy[f]}
        low = states[LOW] != healthy[LOW]
        if low and 0 < len(faults) <= MOST and OTHER not in faults:
            yield faults
    raise InputError(f"no vehicle of layout {system.layout.id} rides low; choose another layout.")
