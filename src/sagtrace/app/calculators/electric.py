"""Calculators of joints, wires and fuses."""

from __future__ import annotations

import math
from collections.abc import Mapping

from sagtrace.app.calculators.records import Answer, Calculator, Field, Given, shown, through
from sagtrace.errors import DomainError
from sagtrace.physics import circuit
from sagtrace.physics.fuse import (
    BLADE_TYPE_C,
    BLADE_TYPE_E,
    BLADE_TYPE_F,
    FuseCurve,
    operating_band,
)
from sagtrace.report.words import duration

__all__ = ["ELECTRIC"]

_CURVES: Mapping[str, FuseCurve] = {"C": BLADE_TYPE_C, "F": BLADE_TYPE_F, "E": BLADE_TYPE_E}


def _joint(given: Given) -> tuple[Answer, ...]:
    names = ("drop", "current")
    ohms = through(given, names, lambda x: circuit.joint_resistance(x[0], x[1]), "Ω")
    watts = through(given, names, lambda x: circuit.joint_power(x[0], x[1]), "W")
    return shown("resistance of the joint", ohms, "mΩ"), shown("heat in it", watts, "W")


def _wire(given: Given) -> tuple[Answer, ...]:
    names = ("area", "length", "temperature", "current")
    ohms = through(given, names[:3], lambda x: circuit.wire_resistance(x[0], x[1], x[2]), "Ω")
    drop = through(
        given,
        names,
        lambda x: circuit.voltage_drop(circuit.wire_resistance(x[0], x[1], x[2]), x[3]),
        "V",
    )
    return shown("resistance of the copper", ohms, "mΩ"), shown("voltage lost in it", drop, "V")


def _fuse(given: Given) -> tuple[Answer, ...]:
    curve = _CURVES[given.choices["type"]]
    rating = given.numbers["rating"].value
    if not rating > 0.0:
        raise DomainError("rating", rating, "A", "above zero", "Read it off the fuse.")
    ratio = through(given, ("current", "rating"), lambda x: x[0] / x[1], "")
    ends = [max(ratio.value + k * 1.96 * ratio.std, 0.0) for k in (1.0, -1.0)]
    least, most = float(operating_band(ends[0], curve)[0]), float(operating_band(ends[1], curve)[1])
    text = f"opens after {_span(least)} at the earliest"
    text += f" and {_span(most)} at the latest" if math.isfinite(most) else "; it may never open"
    caveats = (
        curve.confidence,
        "A blown fuse points to a stall, a short, a seized pump or a start against pressure; a bad "
        "joint does not blow it. Never fit a larger one.",
    )
    return (
        shown("current over rated current", ratio, ""),
        Answer(
            name="time to open", value=None, low=least, high=most if math.isfinite(most) else None,
            unit="s", text=text, caveats=caveats,
        ),
    )  # fmt: skip


def _span(seconds: float) -> str:
    return f"{seconds:.2g} s" if seconds < 10.0 else duration(seconds)


_CURRENT = Field(id="current", ask="current meanwhile", kind="current", unit="A", error=0.3)

ELECTRIC: tuple[Calculator, ...] = (
    Calculator(
        id="joint", name="Joint: milliohms and watts", group="Electric",
        about="How bad a connector or ground is, and how hot it gets. Sound: under 5 mΩ.",
        formula="R = U / I;  P = U · I",
        source="Ohm's law; the kernels joint_resistance and joint_power",
        assumes="Drop and current read at the same moment, with the pump running.",
        fields=(
            Field(id="drop", ask="voltage across the joint under load", kind="voltage", unit="V",
                  error=0.01),
            _CURRENT,
        ),
        work=_joint,
    ),
    Calculator(
        id="wire", name="Voltage lost in a wire", group="Electric",
        about="What a sound wire may lose, before you blame it.",
        formula="U = I · ρ₂₀ · l / A · (1 + α (T − 20 °C))",
        source="IEC 60028 (copper: 1/58 Ω mm²/m, 0.393 %/K), from memory; the kernel "
        "wire_resistance",
        assumes="Nominal cross-section; a real wire may be 10 % above.",
        fields=(
            Field(id="area", ask="cross-section of the copper", kind="area", unit="mm²",
                  default="2.5 ± 0.2 mm²", required=False, basis="chosen: a usual pump feed"),
            Field(id="length", ask="length, there and back if both carry the current",
                  kind="length", unit="m"),
            Field(id="current", ask="current", kind="current", unit="A", error=0.3),
            Field(id="temperature", ask="temperature of the wire", kind="temperature", unit="°C",
                  default="40 ± 20 °C", required=False, basis="chosen: in a vehicle"),
        ),
        work=_wire,
    ),
    Calculator(
        id="fuse", name="How long a fuse stands it", group="Electric",
        about="Whether the current you measured can have blown the fuse, and how fast.",
        formula="straight lines between the rated points on log-log axes",
        source=BLADE_TYPE_C.source,
        assumes="A fuse at 23 °C that carried nothing before.",
        fields=(
            Field(id="rating", ask="rated current, as printed on the fuse", kind="current",
                  unit="A"),
            Field(id="current", ask="current that flows", kind="current", unit="A", error=0.3),
            Field(id="type", ask="type", default="C",
                  choices=tuple((id_, curve.name) for id_, curve in _CURVES.items())),
        ),
        work=_fuse,
    ),
)  # fmt: skip
