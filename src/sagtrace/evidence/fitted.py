"""What the virtual vehicle, fitted to a recording, says about leaks, pump and feed.

One recording gives one finding for each node, so nothing counts twice: where the fit can tell the
sides of an axle apart they speak for themselves, else their sum does. Limits: leaks of two corners
share the assumed geometry, which the spread of each shows and their product does not.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from sagtrace.evidence.findings import Finding, quantity_finding
from sagtrace.evidence.models import Measured
from sagtrace.physics.estimate import Caveat, Estimate
from sagtrace.twin.identify.result import Fit, Fitted
from sagtrace.vehicle.system import System

__all__ = ["fitted_findings"]

GROSS_ERROR = 0.03  # chosen: of 100 recordings, those with a wrong channel or a rocked vehicle
AXLE, CORNER, PUMP = "air.escape-axle", "air.escape", "pump.delivery"


def fitted_findings(
    system: System,
    fit: Fit,
    facts: Mapping[str, Estimate],
    *,
    id: str,  # noqa: A002
) -> tuple[Finding, ...]:
    """Return what a fit says, one finding for each node that the layout has."""
    caveats = tuple(Caveat(code="fit", text=text) for text in fit.notes)
    return tuple(
        quantity_finding(
            id=f"{id}.{part}", source=id, name=name, node=system.nodes[node],
            measured=Measured(estimate=estimate.with_caveats(*caveats)), gross_error=GROSS_ERROR,
        )
        for part, name, node, estimate in (*_leaks(system, fit), *_pump(fit, facts))
        if node in system.nodes
    )  # fmt: skip


def _leaks(system: System, fit: Fit) -> Iterator[tuple[str, str, str, Estimate]]:
    corners = {name: leak for name, leak in fit.leaks.items() if not name.startswith("axle")}
    if "axle" in fit.leaks and not all(leak.told for leak in corners.values()):
        name = "leak of the axle, from the virtual vehicle fitted to the recording"
        yield "leak", name, AXLE, _estimate(fit.leaks["axle"], "m³/s")
        return
    for corner, leak in corners.items():
        name = f"leak at the {corner}, from the virtual vehicle fitted to the recording"
        yield f"leak.{corner}", name, f"{CORNER}@{corner}", _estimate(leak, "m³/s")


def _pump(fit: Fit, facts: Mapping[str, Estimate]) -> Iterator[tuple[str, str, str, Estimate]]:
    if fit.pump is None:
        return
    healthy = facts["pump-delivery"]
    share = fit.pump.value * healthy.std / healthy.value
    estimate = Estimate(value=fit.pump.value, std=math.hypot(fit.pump.std, share), unit="")
    yield "pump", "air of the pump that reaches the springs, from the same fit", PUMP, estimate


def _estimate(fitted: Fitted, unit: str) -> Estimate:
    return Estimate(value=fitted.value, std=fitted.std, unit=unit)
