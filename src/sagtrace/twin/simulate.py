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
from sagtrace.twin._kernels import all_kept, compile_apart, compiled_run
from sagtrace.twin.codes import SetCode, set_codes
from sagtrace.twin.controller import CODES, M_FIRST, M_STATUS, new_memory
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.loop import room_shape
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.plant import COMMANDS, CV, EXTRAS, LEDGERS
from sagtrace.twin.sampling import seen_rows, truth_rows
from sagtrace.twin.script import Script, stretches
from sagtrace.twin.shown import Truth, channels_of, truth_of

__all__ = [
    "Balance",
    "initial_state",
    "prepare",
    "RTOL",
    "simulate",
    "Simulation",
    "SMALLEST",
    "State",
    "Truth",
]

Array = NDArray[np.float64]

FIRST = (
    "Preparing the virtual vehicle: its first run on a machine compiles it, once. "
    "This takes some 10 to 20 seconds."
)
RTOL = 5e-6  # [-] chosen: error of a step; well inside 0.2 mm and 0.2 % of mass over a run
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
    # A fault of no size must not even cut a step where it sets in.
    there = [fault for fault in faults if fault.severity > 0.0]
    edges, inputs = stretches(vehicle, script, there, 0.0)
    packs = [s.pack(vehicle, [f for f in faults if f.onset <= t]) for t in edges[:-1]]
    y, x, memory = begin.values.copy(), begin.extensions.copy(), begin.memory.copy()
    y[-LEDGERS:] = 0.0
    # Codes tell times from the first run's start, the kernel from this one's.
    n, nv = len(vehicle.springs), (len(y) - EXTRAS - LEDGERS) // 2
    count = int(np.floor(script.duration * rate + 1e-9)) + 1
    seen = seen_rows(n)
    out = np.zeros((seen + (truth_rows(nv) if truth else 0), count))
    log = np.zeros((LOG_ROWS, 1 + COMMANDS))
    tally = np.zeros(4) if watch is None else watch
    tally[:] = 0.0
    first = y.copy()
    size = np.concatenate([first[: 2 * nv], SMALLEST, np.zeros(LEDGERS)])
    size[n], size[nv + n] = _gallery_size(vehicle)
    kicks = _kicks(there, edges)
    failed = compiled_run()(
        edges, inputs, np.array([p.wide for p in packs]), np.array([p.springs for p in packs]),
        np.array([p.sensors for p in packs]), np.array([p.control for p in packs]), kicks,
        np.empty((0, COMMANDS)), np.empty((0, n)), s.coupling(vehicle), size, y, x, memory, seed,
        rtol, float(rate), out, log, tally, np.zeros(room_shape(n, len(y))),
    )  # fmt: skip
    if failed:
        raise EvidenceError(f"the simulation stopped at {tally[3]:g} s: no step is short enough.")
    time = begin.time + np.arange(count) / rate
    changes = log[: min(int(tally[2]), LOG_ROWS)].copy()  # lets go of the rest
    return Simulation(
        time=time,
        channels=channels_of(vehicle, inputs, edges, packs, out[:seen], time - begin.time, seed),
        truth=truth_of(vehicle, out[:seen], out[seen:], nv) if truth else None,
        codes=set_codes(memory[M_STATUS:M_FIRST], memory[M_FIRST : M_FIRST + CODES]),
        changes=changes,
        balance=_balance(first, y, nv),
        end=State(time=begin.time + script.duration, values=y, extensions=x, memory=memory),
        steps=int(tally[0]),
        seed=seed,
    )


def prepare(tell: Callable[[str], None] = lambda _: None, *, at_once: bool = False) -> None:
    """Compile the plant now if this machine has not done so yet, and say so before and after.

    With `at_once` the pieces are compiled side by side in processes of their own: for a program's
    own start, not for a library call from somebody's threads.
    """
    new = not all_kept()
    if new:
        tell(FIRST)
        if at_once:
            compile_apart()
    compiled_run()
    if new:
        tell("The virtual vehicle is ready.")


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
