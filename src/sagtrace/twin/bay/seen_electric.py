"""What a perfect observer would answer about the electric side of the virtual vehicle."""

from __future__ import annotations

from sagtrace.twin import _slots as s
from sagtrace.twin.bay.runs import Runs
from sagtrace.twin.simulate import Simulation

__all__ = [
    "commanded",
    "cured_by_relay",
    "lamp_at_plug",
    "runs_at_all",
    "sound_of_pump",
    "tired_battery",
]

LAMP = 2.4  # [ohm] a 60 W bulb
BRIGHT, DIM = 0.85, 0.2  # [-] chosen: of the battery's voltage
OPEN_JOINT = 1.0  # [ohm] chosen: a contact that no pump turns behind
LABOURS = 0.85  # [-] chosen: of the usual speed; three semitones lower


def runs_at_all(run: Simulation) -> bool:
    """Return whether the pump is heard in what follows the loading."""
    return bool(run.channels["pump.current"].max() > 1.0)


def commanded(r: Runs) -> bool:
    """Return whether the control unit commands the pump when people get in."""
    return bool(r.called().channels["pump.command"].any())


def sound_of_pump(r: Runs, corner: str) -> str:
    """Return what is heard of the pump then."""
    current = r.called().channels["pump.current"]
    at_pump = r.called().channels["pump.voltage"]
    if float(current.max()) < 1.0:
        return "silent"
    ohms = r.bench.number(s.R_ARM)
    on = current > 1.0
    turned = float((at_pump[on] - current[on] * ohms).max())
    if turned < 0.1:
        return "hums"
    usual = r.sound.called()
    on = usual.channels["pump.current"] > 1.0
    there = usual.channels["pump.voltage"][on] - usual.channels["pump.current"][on] * ohms
    return "laboured" if turned < LABOURS * float(there.max()) else "steady"


def lamp_at_plug(r: Runs, corner: str) -> str:
    """Return how bright a bulb is at the pump's plug."""
    wide = r.bench.packed.wide
    # The bulb hangs in the vehicle's side of the connector, which may itself be bad.
    if wide[s.BLOWN] or not r.bench.obeys or r.bench.is_open("feed", "relay", "ground"):
        return "dark"
    before = float(wide[s.R_FEED] + wide[s.R_RELAY] + wide[s.R_GROUND])
    share = LAMP / (LAMP + before)
    return "bright" if share > BRIGHT else "dim" if share > DIM else "dark"


def cured_by_relay(r: Runs, corner: str) -> bool:
    """Return whether another relay makes the pump work."""
    bench = r.bench
    if bench.number(s.STUCK_ON):
        return True
    bad = bench.number(s.COIL_OPEN) > 0.0 or bench.number(s.R_RELAY) > OPEN_JOINT
    bad = bad or bench.is_open("relay")
    rest = bench.joints - bench.number(s.R_RELAY) < OPEN_JOINT and not bench.number(s.BLOWN)
    rest = rest and not bench.is_open("connector", "feed", "ground")
    return bad and rest and bench.number(s.R_ARM) < OPEN_JOINT and commanded(r)


def tired_battery(r: Runs, corner: str) -> bool:
    """Return whether battery or charging is weak."""
    wide = r.bench.packed.wide
    tired = wide[s.R_BATT] > 2.0 * r.parameters.electrics.battery_resistance
    return bool(r.bench.rest_voltage < 12.4 or wide[s.V_CHARGE] < 13.8 or tired)
