"""Finds out why a vehicle on air suspension rides low, prices the repair and proves it.

The public names are described in docs/python-api.md. They load on first use, so that
importing one kernel does not import everything.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sagtrace.api import (
        Check,
        Diagnosis,
        NextCheck,
        OpenJob,
        Proof,
        RepairOption,
        SimulatedRun,
        layouts,
        load_job,
        open_job,
        simulate,
    )

__all__ = [
    "Check",
    "Diagnosis",
    "layouts",
    "load_job",
    "NextCheck",
    "open_job",
    "OpenJob",
    "Proof",
    "RepairOption",
    "simulate",
    "SimulatedRun",
]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from sagtrace import api

        return getattr(api, name)
    raise AttributeError(f"module 'sagtrace' has no attribute {name!r}")
