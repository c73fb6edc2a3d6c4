"""All routers of the pages."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter

from sagtrace.web.pages import calculators, forms, jobs, papers, repair, vehicle, verdict

__all__ = ["routers"]


def routers() -> Sequence[APIRouter]:
    """Return the routers of the pages."""
    job = (verdict.router, vehicle.router, repair.router, papers.router)
    return (jobs.router, *job, forms.router, calculators.router)
