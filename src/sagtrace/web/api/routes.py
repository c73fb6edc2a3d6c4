"""All routers of the API."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter

from sagtrace.web.api import (
    calculators,
    changes,
    demo,
    files,
    following,
    heading,
    jobs,
    kinds,
    known,
    moving,
    practice,
    record,
    recordings,
    repair,
    verdict,
)

__all__ = ["routers"]


def routers() -> Sequence[APIRouter]:
    """Return the routers of the API, in the order of its description."""
    read = (following.router, verdict.router, record.router, repair.router, files.router)
    others = (
        moving.router,
        practice.router,
        calculators.router,
        heading.router,
        known.router,
        kinds.router,
    )
    return (jobs.router, demo.router, changes.router, recordings.router, *read, *others)
