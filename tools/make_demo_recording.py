"""Makes the demo recording: an invented vehicle on the rear-pair layout, from the physics kernels.

The left rear spring leaks, the right one is tight, and the pump is worn. The vehicle stands after a
fill with the engine off and the control asleep; then the engine is started and the control levels.
Assumes a constant load, so constant pressure and straight lines; one steady temperature, so fresh
air is as warm as the spring's. While the pump fills, both spring valves are open: left and right
share the air, so the mean rises as if both rose alike, and the body rights itself within the fill.
The sleep is no longer than it is because the left corner would come down on its bump stop.

Run: python tools/make_demo_recording.py [FILE]. The same numbers every time (`SEED`).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.gas import REF_20C_1ATM, molar_flow_to_pv, standard_to_molar_flow
from sagtrace.physics.pump import reference_delivery

Array = NDArray[np.float64]

TARGET = Path(__file__).parents[1] / "src/sagtrace/demo/recording.csv"
SEED = 20_240_611  # chosen: any would do
HEADER = (
    "time [s],height.rear [mm],pump.command [-],supply [V],pump.voltage [V],"
    "ambient [degC],engine [-]"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """The invented vehicle and its day, in SI. All chosen."""

    leak_left: float = 1100e-6 / 60.0  # [m^3/s] at 20 °C, 1 atm
    health: float = 0.45  # [-] of a healthy pump at the same voltage and pressure
    # A little off the layout's assumed facts, because no real vehicle is the average one.
    area: float = 104e-4  # [m^2] effective, of one spring
    gauge: float = 5.3e5  # [Pa]
    lever: float = 0.93  # [-] shortening of the spring for a fall at the wheel arch
    delivery: float = 27.5e-3 / 60.0  # [m^3/s] free air of the pump when healthy, at `running`
    running: float = 12.5  # [V] where `delivery` is told
    clearance: float = 0.045  # [-]
    current: float = 17.0  # [A]
    armature: float = 0.14  # [ohm]
    polytropic: float = 1.3  # [-]
    barometer: float = 1.0e5  # [Pa]
    ambient: float = 282.15  # [K]
    supply_off: float = 12.4  # [V] engine off
    supply_on: float = 13.6  # [V] engine running
    feed_loss: float = 0.7  # [V] between battery and pump while it runs
    level: float = 0.400  # [m] at the wheel arch
    band: float = 0.008  # [m] the control starts below level - band
    stop: float = 0.404  # [m] the control stops a fill here
    delay: float = 10.0  # [s] it waits before it starts
    run_limit: float = 20.0  # [s] it lets the pump run at a stretch
    run_pause: float = 30.0  # [s] before it goes on
    asleep: float = 210.0  # [s] engine off at the start
    length: float = 24 * 60.0  # [s]
    step: float = 0.5  # [s]
    noise: float = 0.3e-3  # [m] of the height signal, one standard deviation
    resolution: float = 0.5e-3  # [m]

    @property
    def sinking(self) -> float:
        """Speed at which the mean of both sides falls through the leak on the left [m/s]."""
        molar = standard_to_molar_flow(self.leak_left, REF_20C_1ATM)
        return self._mean_speed(float(molar_flow_to_pv(molar, self.ambient)))

    @property
    def rising(self) -> float:
        """Speed at which the mean of both sides would rise with the pump and no leak [m/s]."""
        molar = self.health * reference_delivery(
            self.delivery,
            nominal_voltage=self.running,
            nominal_current=self.current,
            voltage=self.supply_on - self.feed_loss,
            current=self.current,
            armature_resistance=self.armature,
            p_intake=self.barometer,
            temp_intake=self.ambient,
            p_delivery=self.gauge + self.barometer,
            clearance=self.clearance,
            polytropic=self.polytropic,
        )
        return self._mean_speed(float(molar_flow_to_pv(molar, self.ambient)))

    def _mean_speed(self, pv_flow: float) -> float:
        pressure = self.gauge + self.barometer
        return pv_flow / (pressure * self.area) / self.lever / 2.0


class Control:
    """Starts a fill after a delay, ends it at the stop height, and rests the pump."""

    def __init__(self, truth: Truth) -> None:
        self.truth = truth
        self.low_since: float | None = None
        self.wanted = False
        self.ran = self.pause = 0.0

    def command(self, time: float, height: float, engine: bool) -> bool:
        """Return whether the pump is commanded from now to the next step."""
        truth = self.truth
        if not engine:
            return False
        if height >= truth.level - truth.band:
            self.low_since = None
        elif self.low_since is None:
            self.low_since = time
        if self.low_since is not None and time - self.low_since >= truth.delay:
            self.wanted = True
        if height >= truth.stop:
            self.wanted = False
        self.pause = max(0.0, self.pause - truth.step)
        on = self.wanted and self.pause == 0.0
        self.ran = self.ran + truth.step if on else 0.0
        if self.ran > truth.run_limit:
            self.ran, self.pause = 0.0, truth.run_pause
            return False
        return on


def simulate(truth: Truth) -> tuple[Array, Array, Array, Array]:
    """Return time [s], true mean height [m], pump command and engine [0 or 1]."""
    time = np.arange(0.0, truth.length, truth.step)
    height, command, engine = np.zeros_like(time), np.zeros_like(time), np.zeros_like(time)
    control, now = Control(truth), truth.stop
    for i, t in enumerate(time):
        height[i], engine[i] = now, t >= truth.asleep
        command[i] = control.command(float(t), now, bool(engine[i]))
        now += truth.step * (command[i] * truth.rising - truth.sinking)
    return time, height, command, engine


def recorded(truth: Truth, seed: int) -> str:
    """Return the recording as CSV text."""
    time, height, command, engine = simulate(truth)
    noisy = height + np.random.default_rng(seed).normal(0.0, truth.noise, time.shape)
    shown = 1e3 * truth.resolution * np.round(noisy / truth.resolution)
    supply = np.where(engine > 0.0, truth.supply_on, truth.supply_off)
    pump = command * (supply - truth.feed_loss)
    degrees = truth.ambient - 273.15
    rows = [
        f"{t:.1f},{h:.1f},{c:.0f},{s:.1f},{p:.1f},{degrees:.1f},{e:.0f}"
        for t, h, c, s, p, e in zip(time, shown, command, supply, pump, engine, strict=True)
    ]
    return "\n".join([HEADER, *rows, ""])


def main() -> None:
    truth = Truth()
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else TARGET
    text = recorded(truth, SEED)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(text.encode())
    _, height, command, engine = simulate(truth)
    fills = int(np.count_nonzero(np.diff(command) > 0.0))
    awake = engine > 0.0
    print(f"{target.name}: {len(text.encode()) / 1e3:.0f} kB, {fills} fills, seed {SEED}")
    print(f"left leak        {6e7 * truth.leak_left:.0f} mL/min (20 °C, 1 atm); right 0")
    print(f"sinking at rest  {1e3 * truth.sinking:.4f} mm/s, mean of both sides")
    print(f"pump health      {truth.health:.0%}, rising {1e3 * truth.rising:.3f} mm/s without leak")
    print(
        f"duty, awake      {command[awake].mean():.1%}; lasting {truth.sinking / truth.rising:.1%}"
    )
    print(f"lowest mean      {1e3 * height.min():.1f} mm")


if __name__ == "__main__":
    main()
