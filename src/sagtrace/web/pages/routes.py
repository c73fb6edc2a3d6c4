"""All routers of the pages."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter

from sagtrace.web.pages import forms, jobs, recordings

__all__ = ["routers"]


def routers() -> Sequence[APIRouter]:
    """Return the routers of the pages."""
    return (jobs.router, forms.router, recordings.router)
