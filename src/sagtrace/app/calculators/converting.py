"""Calculators that put a number into other units, or other reference conditions."""

from __future__ import annotations

from collections.abc import Mapping

from sagtrace.app.calculators.records import Answer, Calculator, Field, Given, shown, through
from sagtrace.physics import gas
from sagtrace.physics.gas import ReferenceConditions
from sagtrace.units import KINDS, units_of

__all__ = ["converters", "REFERENCES"]

REFERENCES: Mapping[str, ReferenceConditions] = {
    "normal": gas.NORMAL_0C_1ATM,
    "iso": gas.ISO_15C_1ATM,
    "20C": gas.REF_20C_1ATM,
    "anr": gas.ANR_ISO8778,
    "anr-old": gas.ANR_OLD,
    "25C": gas.REF_25C_1ATM,
}
_CHOICES = tuple((id_, r.name) for id_, r in REFERENCES.items())
_KINDS = (
    "pressure_gauge", "pressure_absolute", "length", "volume", "volume_flow", "temperature",
    "area", "mass", "speed", "time", "power", "frequency",
)  # fmt: skip


def converters() -> tuple[Calculator, ...]:
    """Return a calculator a kind of quantity, and one of reference conditions."""
    flow = Calculator(
        id="reference-conditions", name="Air flow at other reference conditions", group="Units",
        converts=True,
        about="A litre of air a minute means different amounts of air, by whoever says it.",
        formula="q₂ = q₁ · p₁ / T₁ · T₂ / p₂",
        source="; ".join(sorted({r.source for r in REFERENCES.values()})),
        assumes="The same number of molecules; in a humid reference its water is counted as air.",
        fields=(
            Field(id="flow", ask="flow", kind="volume_flow", unit="L/min"),
            Field(id="from", ask="it is stated at", default="anr", choices=_CHOICES),
            Field(id="to", ask="wanted at", default="20C", choices=_CHOICES),
        ),
        work=_other_reference,
    )  # fmt: skip
    return (flow, *(_converter(kind) for kind in _KINDS))


def _converter(kind: str) -> Calculator:
    known = KINDS[kind]
    # A name such as "pressure_gauge" says what it is last.
    name = " ".join(reversed(kind.split("_"))) if kind.startswith("pressure") else kind
    name = name.replace("_", " ")

    def work(given: Given) -> tuple[Answer, ...]:
        value = given.numbers["value"]
        return tuple(shown(f"in {unit}", value, unit) for unit in units_of(kind))

    return Calculator(
        id=f"units-{kind.replace('_', '-')}", name=f"Other units: {name}", group="Units",
        converts=True,
        about=f"Type {known.expected}.",
        formula="factors of the unit definitions",
        source="BIPM SI Brochure, 9th ed.; NIST SP 811, Appendix B",
        assumes="The spread is that of the last digit, or the one typed after ±.",
        fields=(
            Field(id="value", ask=name, kind=kind,
                  unit=known.shown_unit),
        ),
        work=work,
    )  # fmt: skip


def _other_reference(given: Given) -> tuple[Answer, ...]:
    before, after = (REFERENCES[given.choices[side]] for side in ("from", "to"))
    flow = through(
        given,
        ("flow",),
        lambda x: gas.molar_flow_to_standard(gas.standard_to_molar_flow(x[0], before), after),
        "m³/s",
    )
    return shown(f"flow at {after.name}", flow, "L/min"), shown("the same", flow, "mL/min")
