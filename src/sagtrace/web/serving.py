"""The server: this machine only."""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime

import uvicorn

from sagtrace.bootstrap import compile_aloud, open_desk, seed_demo
from sagtrace.errors import InputError
from sagtrace.web.app import build_app
from sagtrace.web.catalogues import read_catalogues

__all__ = ["Seldom", "serve"]

HOST = "127.0.0.1"
MOST_AT_ONCE = 200  # chosen: connections; a shop's tablets need some ten
KEPT_ALIVE = 5  # [s] chosen: a connection without a request
SELDOM = 60.0  # [s] chosen: before the log says the same again


class Seldom(logging.Filter):
    """Lets the log say the same thing once a minute, so that a flood of requests is none there."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._clock = clock
        self._said: dict[str, float] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Return whether it was not said of late."""
        now, last = self._clock(), self._said.get(str(record.msg))
        if record.exc_info or (last is not None and now - last < SELDOM):
            return bool(record.exc_info)  # a defect is told each time
        self._said[str(record.msg)] = now
        return True


def serve(port: int, store: str, tell: Callable[[str], None]) -> None:
    """Answer until it is stopped.

    Raises InputError if the port is taken, DocumentError for a catalogue that cannot be right.
    """
    languages = read_catalogues()
    desk = open_desk(store)
    seed_demo(desk, datetime.now(UTC).isoformat(timespec="seconds"))
    # TCP by name, because only then answers are sent at once instead of some 40 ms later.
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP) as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, port))
        except OSError as err:
            raise InputError(
                f"port {port} cannot be used ({err.strerror}); choose another: --port 0 takes a "
                "free one."
            ) from None
        listener.listen()  # so that whoever comes at once waits instead of being refused
        tell(f"The workbench is at http://{HOST}:{listener.getsockname()[1]}/ (Ctrl+C stops it)")
        app = build_app(desk, languages=languages)
        compile_aloud(app.state.readings.tasks.say, at_once=False)
        # Meanwhile the list can be looked at; a job that is opened at once waits no longer for it.
        threading.Thread(target=desk.warm_up, daemon=True).start()
        config = uvicorn.Config(
            app, log_level="warning", server_header=False, limit_concurrency=MOST_AT_ONCE,
            timeout_keep_alive=KEPT_ALIVE,
        )  # fmt: skip
        logging.getLogger("uvicorn.error").addFilter(Seldom())
        with suppress(KeyboardInterrupt):  # which is how a person stops it
            uvicorn.Server(config).run(sockets=[listener])
    desk.store.close()
