"""All routers of the API."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter

from sagtrace.web.api import changes, jobs, recordings

__all__ = ["routers"]


def routers() -> Sequence[APIRouter]:
    """Return the routers of the API, in the order of its description."""
    return (jobs.router, changes.router, recordings.router)
