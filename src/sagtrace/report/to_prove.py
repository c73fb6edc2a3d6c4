"""Which faults need a proof before the vehicle goes back to its owner."""

from __future__ import annotations

from sagtrace.repair.options import Option
from sagtrace.report.assessment import Judged
from sagtrace.report.parts import SHOWN
from sagtrace.vehicle.system import System

__all__ = ["faults_to_prove"]

_PRESENT = 0.2  # chosen: a repaired fault that was less probable than this needs no proof


def faults_to_prove(system: System, judged: Judged, options: tuple[Option, ...]) -> tuple[str, ...]:
    """Return the faults that need a proof: those repaired, or of the recommended option.

    Every repair that was done needs one, whatever it was done for, by what was believed when it
    was decided. So does every fault that was found and left, before the last of them or now,
    because half a repair is never a proved one.
    """
    if not judged.job.works:
        beliefs, fixes = judged.verdict.beliefs, {f for o in options[:1] for f in o.fixes}
        return tuple(b.fault for b in beliefs if b.fault in fixes and b.probability >= _PRESENT)
    wanted: dict[str, None] = {}
    for work, before in zip(judged.job.works, judged.earlier, strict=True):
        done = [system.repair(r).fixes for r in work.repairs]
        fixes = {fault for group in done for fault in group}
        beliefs = before.verdict.beliefs
        first = {next(b.fault for b in beliefs if b.fault in group) for group in done}
        for b in beliefs:
            repaired = b.fault in fixes and b.probability >= _PRESENT
            if repaired or b.fault in first:
                wanted[b.fault] = None
    for verdict in (judged.earlier[-1].verdict, judged.verdict):
        wanted |= {b.fault: None for b in verdict.beliefs if b.probability > SHOWN}
    return tuple(wanted)
