"""Roles guessed from names, units and values: forty invented headers in five languages."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from written_tables import TITLES, Written, assert_known, imported

from sagtrace.adapters.remembered import RoleFile
from sagtrace.adapters.words import load_words
from sagtrace.errors import DocumentError, InputError
from sagtrace.signals.claims import SURE, Guess, settle, split_role
from sagtrace.signals.naming import plain_text
from sagtrace.signals.roles import Seen, guess_roles, two_valued
from sagtrace.signals.trace import PLACES, ROLES
from sagtrace.units import from_si
from sagtrace.vehicle.knowledge import Knowledge

WORDS = load_words()
N = 400
RUN = (np.arange(N) % 100 < 20).astype(np.float64)
WOBBLE = np.sin(np.arange(N) * 0.7)
# What each kind of column shows, in the unit of the header.
VALUES = {
    "mm": 400.0 + 8.0 * WOBBLE, "cm": 40.0 + 0.8 * WOBBLE, "in": 15.7 + 0.3 * WOBBLE,
    "A": 17.0 * RUN + 0.1 * WOBBLE, "mA": 17e3 * RUN, "V": 12.6 - 0.5 * RUN + 0.02 * WOBBLE,
    "mV": 12600.0 - 500.0 * RUN, "°C": 24.0 + WOBBLE, "°F": 70.0 + WOBBLE, "Grad C": 60.0 + WOBBLE,
    "bar": 7.5 + WOBBLE, "kPa": 750.0 + WOBBLE, "psi": 110.0 + WOBBLE, "rpm": 800.0 + 5.0 * WOBBLE,
    "1/min": 800.0 + WOBBLE, "U/min": 800.0 + WOBBLE, "tr/min": 800.0 + WOBBLE,
    "km/h": 50.0 + WOBBLE, "mph": 30.0 + WOBBLE, "": RUN, "%": 50.0 + WOBBLE,
}  # fmt: skip

# English, German, French, Spanish, Italian; invented after common use, no tool's names.
HEADERS = [
    ("Ride height rear left", "mm", "height.rear-left"),
    ("Height_FR", "mm", "height.front-right"),
    ("LH rear level", "in", "height.rear-left"),
    ("Rear axle height", "mm", "height.rear"),
    ("Target height front left", "mm", "target.front-left"),
    ("Compressor relay", "", "pump.command"),
    ("PumpCurrent", "A", "pump.current"),
    ("compressor_motor_voltage", "V", "pump.voltage"),
    ("Compressor temp", "°C", "pump.temperature"),
    ("Battery voltage", "V", "supply"),
    ("Exhaust valve command", "", "vent.command"),
    ("Valve RR", "", "valve.rear-right"),
    ("Reservoir pressure", "psi", "pressure.reservoir"),
    ("Valve block pressure", "kPa", "pressure.gallery"),
    ("Outside temperature", "°F", "ambient"),
    ("Engine speed", "rpm", "engine"),
    ("Vehicle speed", "mph", "speed"),
    ("Door status", "", "door"),
    ("Fahrzeughöhe hinten links", "mm", "height.rear-left"),
    ("Niveau HR", "mm", "height.rear-right"),
    ("Sollhöhe vorne rechts", "mm", "target.front-right"),
    ("Kompressor Ansteuerung", "", "pump.command"),
    ("Kompressorstrom", "A", "pump.current"),
    ("Verdichtertemperatur", "Grad C", "pump.temperature"),
    ("Bordnetzspannung", "V", "supply"),
    ("Ablassventil", "", "vent.command"),
    ("Druckspeicher Druck", "bar", "pressure.reservoir"),
    ("Motordrehzahl", "U/min", "engine"),
    ("Aussentemperatur", "°C", "ambient"),
    ("Hauteur arrière gauche", "mm", "height.rear-left"),
    ("Commande compresseur", "", "pump.command"),
    ("Courant compresseur", "A", "pump.current"),
    ("Tension batterie", "V", "supply"),
    ("Régime moteur", "tr/min", "engine"),
    ("Altura trasera derecha", "mm", "height.rear-right"),
    ("Corriente del compresor", "A", "pump.current"),
    ("Tensión de la batería", "V", "supply"),
    ("Altezza posteriore sinistra", "mm", "height.rear-left"),
    ("Comando compressore", "", "pump.command"),
    ("Pressione serbatoio", "bar", "pressure.reservoir"),
    ("Temperatura esterna", "°C", "ambient"),
    ("Velocità veicolo", "km/h", "speed"),
]  # fmt: skip

# Of other systems, or of none: never taken for one of ours.
STRANGERS = [
    ("Oil pressure", "bar"), ("Fuel level", "mm"), ("Coolant temperature", "°C"),
    ("Tyre pressure RL", "bar"), ("Intake air temperature", "°C"), ("Kraftstoffdruck", "bar"),
    ("Bremsdruck", "bar"), ("Boost pressure", "kPa"), ("Steering angle", ""), ("Error count", ""),
    ("Pression huile", "bar"), ("Brake switch", ""), ("Accelerator position", "%"),
]  # fmt: skip


def seen(name: str, unit: str) -> Seen:
    return Seen(named=WORDS.named(name), unit=WORDS.unit(unit), values=VALUES[unit])


@pytest.mark.parametrize(("name", "unit", "role"), HEADERS)
@pytest.mark.common_practice("words that the trade uses for these quantities in five languages")
def test_a_common_name_is_understood(name: str, unit: str, role: str) -> None:
    (guesses,) = guess_roles([seen(name, unit)])
    assert guesses[0].role == role
    assert guesses[0].confidence >= SURE
    assert guesses[0].reason


def test_there_are_enough_headers() -> None:
    assert len(HEADERS) >= 40


@pytest.mark.parametrize(("name", "unit"), STRANGERS)
@pytest.mark.common_practice("quantities of a vehicle that are not of its air suspension")
def test_what_belongs_elsewhere_is_not_taken(name: str, unit: str) -> None:
    (guesses,) = guess_roles([seen(name, unit)])
    assert [g for g in guesses if g.confidence >= SURE] == []


def test_all_headers_together_keep_their_roles() -> None:
    """Side by side, a role that two columns claim is for a person; the rest stays."""
    columns = [seen(name, unit) for name, unit, _ in HEADERS]
    sure, open_ = settle(guess_roles(columns), [])
    for i, guess in sure.items():
        assert guess.role == HEADERS[i][2]
    claimed = [role for _, _, role in HEADERS]
    assert {i for i, role in enumerate(claimed) if claimed.count(role) == 1} <= set(sure)
    assert {claimed.count(HEADERS[i][2]) > 1 for i in open_} == {True}


@pytest.mark.parametrize(
    ("name", "unit", "values", "best"),
    [
        ("Rear height", "", VALUES["mm"], ("height.rear", "mm")),
        ("Battery voltage", "", VALUES["V"], ("supply", "V")),
        ("Battery voltage", "", VALUES["mV"], ("supply", "mV")),
        ("Compressor current", "", VALUES["A"], ("pump.current", "A")),
    ],
)
def test_a_unit_left_out_is_told_by_the_values(
    name: str, unit: str, values: np.ndarray, best: tuple[str, str]
) -> None:
    (guesses,) = guess_roles([Seen(named=WORDS.named(name), unit=unit, values=values)])
    assert (guesses[0].role, guesses[0].unit) == best
    assert guesses[0].confidence >= SURE
    assert "by its values" in guesses[0].reason


@pytest.mark.parametrize(
    ("name", "unit", "values"),
    [
        ("Rear height", "V", VALUES["V"]),  # a sensor's voltage is no height
        ("Rear height", "m", VALUES["mm"]),  # four hundred metres
        ("Battery voltage", "V", VALUES["mV"]),
        ("Compressor relay", "", VALUES["mm"]),  # more than two values
        ("Outside temperature", "", VALUES["°C"]),  # °C or °F
        ("Height", "mm", VALUES["mm"]),  # of which place
        ("Voltage", "V", VALUES["V"]),  # of what
        ("Relay", "", RUN),
    ],
)
def test_a_doubtful_column_is_not_taken(name: str, unit: str, values: np.ndarray) -> None:
    (guesses,) = guess_roles([Seen(named=WORDS.named(name), unit=unit, values=values)])
    assert all(g.confidence < SURE for g in guesses)


def test_the_current_speaks_for_the_command() -> None:
    current = seen("Compressor current", "A")
    relay = Seen(named=WORDS.named("Relay 3"), unit="", values=RUN)
    other = Seen(named=WORDS.named("Relay 4"), unit="", values=np.roll(RUN, 50))
    nothing, with_current = guess_roles([relay]), guess_roles([relay, current, other])
    assert nothing[0] == ()
    assert with_current[0][0].role == "pump.command"
    assert "follows it (r = 1.00)" in with_current[0][0].reason
    assert with_current[2] == ()
    wrong = Seen(named=WORDS.named("Compressor relay"), unit="", values=np.roll(RUN, 50))
    alone, against = guess_roles([wrong])[0][0], guess_roles([wrong, current])[0][0]
    assert against.confidence < SURE < alone.confidence
    assert "does not follow" in against.reason


def test_two_claims_are_for_a_person() -> None:
    guess = Guess(role="supply", unit="V", confidence=0.97, reason="")
    near = Guess(role="supply", unit="V", confidence=0.92, reason="")
    far = Guess(role="supply", unit="V", confidence=0.5, reason="")
    assert settle([[guess], [near], [far]], []) == ({}, frozenset({0, 1}))
    assert settle([[guess], [far]], []) == ({0: guess}, frozenset())
    assert settle([[far]], []) == ({}, frozenset({0}))
    assert settle([[guess], [near]], ["supply"]) == ({}, frozenset())


def test_commands_have_two_values() -> None:
    assert two_valued(np.array([0.0, 1.0, np.nan, 1.0]))
    assert two_valued(np.array([0.0, 255.0]))
    assert two_valued(np.r_[np.zeros(60), np.ones(40), 0.5])
    assert not two_valued(np.array([1.0, 2.0]))
    assert not two_valued(np.array([0.0, 1.0, 2.0]))
    assert not two_valued(np.array([np.nan]))


def test_names_are_split_where_a_reader_would() -> None:
    assert plain_text("BattSpannung_KL30 [V]") == "batt spannung kl30 v"
    assert plain_text("Höhe-VL/Straße") == "hohe vl/strasse"
    assert WORDS.named("Level left/right").place == ""
    assert WORDS.named("front rear").place == ""
    assert WORDS.named("RL rear").place == "rear-left"


# --- roles


def test_every_corner_of_a_layout_is_a_place(knowledge: Knowledge) -> None:
    corners = {corner.id for layout in knowledge.layouts for corner in layout.corners}
    assert corners <= set(PLACES)


def test_roles_are_known_by_pattern() -> None:
    assert ROLES["height.front-left"] == "length"
    assert ROLES["valve.rear-right"] == ROLES["valve.reservoir"] == "count"
    assert "height.roof" not in ROLES
    assert "height" not in ROLES
    assert "valve." not in ROLES
    listed = list(ROLES)
    assert len(listed) == len(ROLES) == len(set(listed))
    assert all(role in ROLES for role in listed)
    with pytest.raises(KeyError):
        ROLES["pressure.roof"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("height.rear [mm]", ("height.rear", "mm")),
        (" pump.command ", ("pump.command", "")),
        ("pump.command [-]", ("pump.command", "")),
        ("engine [rpm]", ("engine", "rpm")),
        ("time [ms]", ("time", "ms")),
        ("time [-]", ("time", "")),
    ],
)
def test_a_role_as_it_is_said(text: str, said: tuple[str, str]) -> None:
    assert split_role(text) == said


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("hight.rear [mm]", "no role 'hight.rear'.*height, target or valve with a place"),
        ("height.rear", r"add the unit, for example height.rear \[mm\]"),
        ("supply [bar]", "'bar' is no unit that fits; expected a unit of voltage"),
        ("pump.command [V]", "'V' is no unit"),
    ],
)
def test_a_role_that_there_is_not(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        split_role(text)


@pytest.mark.parametrize("speed", [0.0, 290.0, 310.0, 800.0])
@pytest.mark.common_practice("an engine idles above 500 1/min, a starter turns it below 300")
def test_the_speed_of_an_engine_says_whether_it_runs(speed: float) -> None:
    titles = ("Time", "Engine speed")
    columns = [[f"{i}" for i in range(12)], [f"{speed}"] * 12]
    found = imported(Written(titles=titles, units=("s", "rpm"), columns=columns).bytes())
    assert found.trace.channels["engine"].tolist() == [float(speed > 300.0)] * 12


def test_the_words_are_small_and_bare() -> None:
    lists = [*WORDS.quantities.values(), *WORDS.things.values(), *WORDS.places.values()]
    lists += [WORDS.others, WORDS.time, WORDS.date]
    for word in (w for words in lists for w in words):
        assert plain_text(word) == word
    assert set(WORDS.places) <= set(PLACES)
    assert not set(WORDS.on) & set(WORDS.off)
    for unit in set(WORDS.units.values()) - {"µs", "ns"}:
        from_si(1.0, unit)


# --- what was remembered


def test_what_a_person_said_is_remembered(tmp_path: Path) -> None:
    file = RoleFile(tmp_path / "data" / "roles.yaml")
    assert file.recall() == {}
    file.keep({("Level 2", "mm"): "height.rear [mm]", ("K: 1", ""): "pump.command [-]"})
    file.keep({("Level 2", "mm"): "height.front [mm]"})
    assert RoleFile(file.path).recall() == {
        ("Level 2", "mm"): "height.front [mm]",
        ("K: 1", ""): "pump.command [-]",
    }
    assert [path.name for path in file.path.parent.iterdir()] == ["roles.yaml"]
    file.path.write_text("columns:\n  - {column: a, rolle: b}\n")
    with pytest.raises(DocumentError, match=r"roles\.yaml, line 2"):
        file.recall()
    file.path.unlink()
    file.path.mkdir()
    with pytest.raises(DocumentError, match="cannot be read"):
        file.keep({})


def test_what_is_remembered_is_used_by_exact_name_and_unit() -> None:
    titles = (TITLES[0], "Channel 7", *TITLES[2:])
    data = Written(titles=titles).bytes()
    assert imported(data).columns[1].role == ""
    known = {("Channel 7", "mm"): "height.rear [mm]"}
    found = imported(data, remembered=known)
    assert_known(found)
    assert (found.columns[1].confidence, found.columns[1].reason) == (1.0, "remembered")
    assert (
        imported(data, remembered={("Channel 7", "cm"): "height.rear [cm]"}).columns[1].role == ""
    )
    assert imported(data, remembered={("Channel 7", "mm"): "no role"}).columns[1].role == ""
    # What is said now counts more, and a file is read again without the memory.
    said = imported(data, {"Channel 7": "height.front [mm]"}, remembered=known)
    assert said.columns[1].role == "height.front"
    again = imported(data, found.assignment(), guess=False)
    assert_known(again)


def test_what_is_said_makes_what_is_read_again() -> None:
    data = Written().bytes()
    found = imported(data, {"Battery voltage": "-"})
    assert "supply" not in found.trace.channels
    assert found.columns[3].reason == "a person left it out"
    assert found.assignment() == {
        "Time": "time [s]",
        "Rear height": "height.rear [mm]",
        "Compressor relay": "pump.command [-]",
        "Compressor current": "pump.current [A]",
    }
    again = imported(data, found.assignment(), guess=False)
    assert again.trace.channels.keys() == found.trace.channels.keys()
    strict = b"time [s],height.rear [mm],supply [V]\n" + b"\n".join(
        b"%d,400,12" % i for i in range(12)
    )
    assert imported(strict).assignment() == {}
    assert imported(strict, {"supply": "-"}).assignment() == {
        "time": "time [s]",
        "height.rear": "height.rear [mm]",
    }
