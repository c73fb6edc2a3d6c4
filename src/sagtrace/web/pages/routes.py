"""All routers of the pages."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter

from sagtrace.web.pages import forms, jobs, papers, repair, verdict

__all__ = ["routers"]


def routers() -> Sequence[APIRouter]:
    """Return the routers of the pages."""
    return (jobs.router, verdict.router, repair.router, papers.router, forms.router)
