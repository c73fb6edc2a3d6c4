"""All routers of the pages."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter

from sagtrace.web.pages import (
    calculators,
    checks,
    evidence,
    forms,
    hidden,
    jobs,
    new,
    papers,
    recordings,
    repair,
    settings,
    step,
    vehicle,
    verdict,
)

__all__ = ["routers"]


def routers() -> Sequence[APIRouter]:
    """Return the routers of the pages."""
    job = (step, checks, evidence, verdict, vehicle, recordings, repair, papers, hidden, forms)
    return [page.router for page in (jobs, new, *job, calculators, settings)]
