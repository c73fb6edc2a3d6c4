"""The workbench as an ASGI application."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from inspect import signature
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles

from sagtrace.app.desk import Desk
from sagtrace.web.api import routes as api
from sagtrace.web.api.describe import describe
from sagtrace.web.catalogues import read_catalogues
from sagtrace.web.guard import Guard
from sagtrace.web.languages import Spoken
from sagtrace.web.pages import routes as pages
from sagtrace.web.pages.page import show_problem
from sagtrace.web.problems import add_problems
from sagtrace.web.readings import Readings
from sagtrace.web.sizes import Sizes
from sagtrace.web.words import Words

__all__ = ["build_app"]

HERE = Path(__file__).parent


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def build_app(
    desk: Desk,
    *,
    now: Callable[[], str] = _now,
    languages: Mapping[str, Words] | None = None,
) -> FastAPI:
    """Return the workbench over a desk; `now` tells the moment of a change as RFC 3339.

    `languages` are what the pages speak, those that have a catalogue if nothing is said.
    """
    app = FastAPI(
        title="sagtrace",
        version=desk.workshop.version,
        summary="Why a vehicle on air suspension rides low: evidence in, proved repair out.",
        openapi_url="/api/v1/openapi.json",
        docs_url=None,  # because those pages load from elsewhere
        redoc_url=None,
        **_silent(),
    )
    app.state.desk, app.state.now = desk, now
    app.state.languages = read_catalogues() if languages is None else languages
    app.state.readings = Readings(desk)
    add_problems(app, show_problem)
    for router in api.routers():
        app.include_router(router, prefix="/api/v1")
    for router in pages.routers():
        app.include_router(router, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    app.mount("/plot", StaticFiles(directory=_plot_files()), name="plot")
    describe(app)
    app.add_middleware(Sizes)
    app.add_middleware(Guard)
    app.add_middleware(Spoken, languages=app.state.languages)  # outermost, so that all speak it
    return app


def _silent() -> dict[str, Any]:
    """Return what keeps FastAPI from sending what it measures, which newer versions can do.

    The environment must not be able to turn that on: a job is nobody else's business.
    """
    if "telemetry" not in signature(FastAPI.__init__).parameters:
        return {}
    off = dict.fromkeys(("auto_configure", "tracing", "metrics", "logs"), False)
    return {"telemetry": off}


def _plot_files() -> Path:
    """Return the folder of the plotting library's script and style, in its own package."""
    spec = importlib.util.find_spec("youplot")
    assert spec is not None
    assert spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "vendor"
