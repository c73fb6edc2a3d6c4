"""The workbench sends nothing anywhere, whatever the environment asks of the libraries."""

from __future__ import annotations

import logging
import socket
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.bootstrap import open_workshop
from sagtrace.web.app import build_app


@pytest.fixture
def collector(monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """A port that the environment names as the place for telemetry."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        found.settimeout(0.2)
        url = f"http://127.0.0.1:{found.getsockname()[1]}"
        monkeypatch.setenv("OTEL_EXPORTER_OTLP_ENDPOINT", url)
        monkeypatch.setenv("OTEL_TRACES_EXPORTER", "otlp")
        monkeypatch.setenv("OTEL_METRICS_EXPORTER", "otlp")
        monkeypatch.setenv("OTEL_LOGS_EXPORTER", "otlp")
        monkeypatch.setenv("FASTAPI_OTEL_AUTO_CONFIGURE", "true")
        yield found


def tried(app: FastAPI, log: pytest.LogCaptureFixture) -> list[str]:
    """Return what the libraries said of telemetry while the app started, answered and ended."""
    log.clear()
    with log.at_level(logging.DEBUG), TestClient(app, base_url="http://127.0.0.1") as client:
        client.get("/api/v1/alive")
    return [r.getMessage() for r in log.records if "telemetry" in r.getMessage().lower()]


def test_nothing_is_exported(collector: socket.socket, caplog: pytest.LogCaptureFixture) -> None:
    app = build_app(Desk(workshop=open_workshop(), store=MemoryStore()))
    assert tried(app, caplog) == []
    with pytest.raises(TimeoutError):
        collector.accept()


def test_an_app_that_is_not_told_would_try(
    collector: socket.socket, caplog: pytest.LogCaptureFixture
) -> None:
    """Otherwise the test above could not fail."""
    said = tried(FastAPI(), caplog)
    try:
        collector.accept()
    except TimeoutError:
        heard = False
    else:
        heard = True
    if not said and not heard:
        pytest.skip("this version of FastAPI has no telemetry")
    assert said or heard
