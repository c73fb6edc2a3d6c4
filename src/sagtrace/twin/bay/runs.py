"""The virtual experiments that checks rest on, each simulated once for a vehicle.

A tool's command is a fault of the moment: a relay that is held closed, a valve that is held open,
as far as the vehicle's own faults let it be.

Limits: the tool moves no reservoir valve and no vent valve of its own; a reservoir that is filled
on command is simulated as the gallery that it then is a part of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sagtrace.twin import _slots as s
from sagtrace.twin.bay.bench import Bench
from sagtrace.twin.bay.rigs import DAY, at_vessel, changed, filled, supported
from sagtrace.twin.bay.runner import Runner
from sagtrace.twin.controller import M_BUDGET, M_CREDIT
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.parameters import Block
from sagtrace.twin.script import Ambient, Load, Script
from sagtrace.twin.simulate import Simulation, initial_state

__all__ = ["DAY", "HOUR", "LOADED_AT", "Runs", "VESSEL", "Working"]

NIGHT = 14 * 3600.0  # [s] chosen: the longest night that a hold test waits
PERSON = 75.0  # [kg] usual: one at each wheel, two people on an axle
LOADED_AT, WATCHED = 150.0, 150.0  # [s] chosen: settled before, and two and a half minutes after
PAUSE = 2700.0  # [s] check wait.pause
DRIVE, HOUR = 900.0, 3600.0  # [s] chosen: to work, and what the duty is told of
VESSEL = 5e-3  # [m^3] chosen: the test vessel
LEAST_EMF = 0.1  # [V] chosen: less back voltage than this is no turning
RIG = 1.0  # [m^3] chosen: so large that the pump does not move its pressure


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """The pump at work against one pressure."""

    flow: float  # [kg/s] that stays behind the pump, what leaks there taken off
    current: float  # [A]
    at_pump: float  # [V]
    battery: float  # [V] across its posts
    turning: bool


@dataclass(kw_only=True)
class Runs(Runner):
    """The experiments on one vehicle, kept once simulated."""

    @property
    def sound(self) -> Runs:
        """The same vehicle with nothing wrong: what its manual knows of it."""
        return self.keep("sound", lambda: Runs(parameters=self.parameters))

    # Standing.

    def hold(self) -> Simulation:
        """Return a night from ride height, a sample a minute."""
        script = Script(duration=NIGHT, ambient=DAY, events=self._parked())
        start = self._at_rest(self.used_up)
        return self.keep("hold", lambda: self._run(script, 1.0 / 60.0, start=start))

    def still(self) -> Simulation:
        """Return an hour in the bay from ride height, ten samples a minute."""
        script = Script(duration=HOUR, ambient=DAY, events=self._standing())
        return self.keep("still", lambda: self._run(script, 1.0 / 6.0))

    def lowered(self, kilograms: float) -> Simulation:
        """Return ten seconds with this much more on every wheel and nothing commanded."""
        load = Load(at=1.0, kilograms=self._burden(kilograms), over=2.0)
        script = Script(duration=10.0, ambient=DAY, events=(*self._standing(), load))
        return self.keep(("lowered", kilograms), lambda: self._run(script, 4.0))

    # At work.

    def drive(self) -> Simulation:
        """Return a quarter of an hour with people in it, after the night."""
        events = (*self._moving(), Load(at=5.0, kilograms=self._burden(PERSON)))
        script = Script(duration=DRIVE, ambient=DAY, engine=True, events=events)

        def make() -> Simulation:
            start = self.hold().end
            for change in self.initial:
                start = change(start)
            return self._run(script, 2.0, start=start)

        return self.keep("drive", make)

    def work(self) -> Simulation:
        """Return an hour more of the same."""
        events = (*self._moving(), Load(at=0.0, kilograms=self._burden(PERSON)))
        script = Script(duration=HOUR, ambient=DAY, engine=True, events=events)
        return self.keep("work", lambda: self._run(script, 1.0, start=self.drive().end))

    def duty(self) -> float:
        """Return the share of an hour at work in which the pump turns [-]."""
        current, at_pump = (self.work().channels[f"pump.{x}"] for x in ("current", "voltage"))
        turns = at_pump - current * self.bench.number(s.R_ARM) > LEAST_EMF
        return float((turns & (current > 1.0)).mean())

    def commanded(self) -> float:
        """Return the share of an hour at work in which the pump is commanded [-]."""
        return float((self.work().channels["pump.command"] > 0.0).mean())

    @property
    def reaches_reservoir(self) -> bool:
        """Whether air passes the reservoir's valve."""
        return self.parameters.reservoir is not None and not self.reservoir_shut

    def charged(self) -> float:
        """Return the reservoir's pressure after work [Pa]."""
        truth = self.work().truth
        assert truth is not None
        return float(truth.pressures["reservoir"][-1])

    def lift(self, reservoir: float | None = None) -> Simulation:
        """Return what happens when people get in with the engine running.

        `reservoir` is its pressure before, as it is after work if left out.
        """

        def make() -> Simulation:
            before = reservoir
            if before is None and self.parameters.reservoir is not None:
                before = self.charged()
            people = Load(at=LOADED_AT, kilograms=self._burden(PERSON))
            events = (*self._moving(), people)
            script = Script(duration=LOADED_AT + WATCHED, ambient=DAY, engine=True, events=events)
            return self._run(script, 4.0, start=self.level(before))

        return self.keep(("lift", reservoir), make)

    def called(self) -> Simulation:
        """Return a lift with the reservoir used up, so that the pump should run."""
        return self.lift(self.bench.barometer + 0.5e5 if self.parameters.reservoir else None)

    def waited(self) -> Simulation:
        """Return a lift after a pause of three quarters of an hour with the engine off."""

        def make() -> Simulation:
            used = self.bench.barometer + 0.5e5
            asleep = Script(duration=PAUSE, ambient=DAY, events=self._standing())
            rested = self._run(asleep, 1.0 / 60.0, start=self.level(used)).end
            # A unit's clock goes on while it sleeps, which the plant's control unit does not know.
            control, memory = self.parameters.control, rested.memory.copy()
            memory[M_CREDIT] += PAUSE * control.credit_rate
            memory[M_BUDGET] *= float(memory[M_CREDIT] < control.credit_restart)
            people = Load(at=LOADED_AT, kilograms=self._burden(PERSON))
            events = (*self._moving(), people)
            script = Script(duration=LOADED_AT + WATCHED, ambient=DAY, engine=True, events=events)
            return self._run(script, 1.0, start=replace(rested, memory=memory))

        return self.keep("waited", make)

    # On the tool's command.

    def _tool(self, corners: Sequence[str] = (), *, pump: bool = True) -> tuple[TimedFault, ...]:
        held = {c: CornerFault(valve_stuck_open=True) for c in corners if self.bench.opens(c)}
        change = FaultParameters(corners=held, relay_stuck_on=pump and self.bench.obeys)
        return (*self.faults, TimedFault(name="tool", change=change))

    def raised(self, corners: tuple[str, ...]) -> Simulation:
        """Return a minute with pump and these spring valves commanded, ten samples a second."""
        script = Script(duration=60.0, ambient=DAY, events=self._standing())
        return self.keep(
            ("raised", corners),
            lambda: self._run(
                script, 10.0, parameters=supported(self.plant), faults=self._tool(corners)
            ),
        )

    def vented(self) -> Simulation:
        """Return ten seconds with the rear spring valves and the vent valve commanded."""
        stuck = self.bench.number(s.VENT_STUCK) > 0.0
        blow = 0.0 if stuck else self.parameters.valves.vent_conductance
        vent = TimedFault(name="vent", change=FaultParameters(vent_leak=blow))
        corners = self.parameters.corners[-2:]
        faults = (*self._tool(corners, pump=False), vent)
        script = Script(duration=10.0, ambient=DAY, events=self._standing())
        return self.keep("vented", lambda: self._run(script, 4.0, faults=faults))

    def vessel(
        self, volume: float = VESSEL, seconds: float = 90.0, *, pressure: float = 0.0,
        without: tuple[str, ...] = (), pump: bool = True, store: str = "", fall: float = 0.0,
    ) -> Simulation:  # fmt: skip
        """Return the pump, or nothing, at work on a closed volume that starts at a gauge pressure.

        `without` names numbers of the faults that are out of the way: "intake_loss" and the like.
        `store`: "alone" is the reservoir behind its valve, "with line" the reservoir open to the
        line. The air outside cools by `fall`.
        """

        def make() -> Simulation:
            vehicle = supported(self.plant)
            block = Block(volume=volume, heat_conductance=3e2 * volume)
            vehicle = replace(vehicle, block=block, reservoir=None)
            if "dryer" in without:
                vehicle = replace(vehicle, dryer=replace(vehicle.dryer, choke=0.0))
            faults = [at_vessel(f, without, store) for f in self._tool(pump=pump)]
            if not pump:  # whose relay sticks has it pulled
                faults = [changed(f, relay_stuck_on=False) for f in faults]
            cools = Ambient(at=0.0, to=DAY - fall, over=0.8 * seconds)
            script = Script(duration=seconds, ambient=DAY, events=(cools,))
            start = initial_state(vehicle, script)
            n = len(vehicle.springs)
            start = filled(start, n, self.bench.barometer + pressure, volume)
            rate = 10.0 if pump else 1.0 / 60.0
            return self._run(script, rate, start=start, parameters=vehicle, faults=faults)

        return self.keep(("vessel", volume, seconds, pressure, without, pump, store, fall), make)

    def working(self, pressure: float, *, support: bool = True, obeyed: bool = False) -> Working:
        """Return the pump against an absolute pressure, the engine off.

        `obeyed`: told as if the command always arrived, for what its own circuit does with it.
        """

        def make() -> Working:
            rig = supported(self.plant) if support else self.plant
            block = Block(volume=RIG, heat_conductance=0.0)
            rig = replace(rig, block=block, reservoir=None)
            script = Script(duration=2.0, ambient=DAY)
            start = filled(initial_state(rig, script), len(rig.springs), pressure, RIG)
            closed = self.bench.number(s.COIL_OPEN) == 0.0 if obeyed else self.bench.obeys
            change = FaultParameters(relay_stuck_on=closed)
            faults = (*self.faults, TimedFault(name="tool", change=change))
            run = self._run(script, 1.0, start=start, parameters=rig, faults=faults)
            return _point(run, len(rig.springs), self.bench)

        return self.keep(("working", pressure, support, obeyed), make)


def _point(run: Simulation, gallery: int, bench: Bench) -> Working:
    assert run.truth is not None
    mass = run.truth.masses["gallery"]
    current, at_pump = (float(run.channels[c][1]) for c in ("pump.current", "pump.voltage"))
    # What the armature does not take up is the voltage of a turning motor.
    turning = at_pump - current * bench.number(s.R_ARM) > LEAST_EMF
    return Working(
        flow=float(mass[2] - mass[0]) / 2.0,
        current=current,
        at_pump=at_pump,
        battery=float(run.channels["supply"][1]),
        turning=bool(current > 0.0 and turning),
    )
