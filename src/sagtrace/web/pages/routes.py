"""All routers of the pages."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter

from sagtrace.web.pages import checks, evidence, forms, jobs, new, settings, step

__all__ = ["routers"]


def routers() -> Sequence[APIRouter]:
    """Return the routers of the pages."""
    return (
        jobs.router, new.router, step.router, checks.router, evidence.router, settings.router,
        forms.router,
    )  # fmt: skip
