"""The server: this machine only."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime

import uvicorn

from sagtrace.bootstrap import compile_aloud, open_desk, seed_demo
from sagtrace.errors import InputError
from sagtrace.web.app import build_app

__all__ = ["serve"]

HOST = "127.0.0.1"


def serve(port: int, store: str, tell: Callable[[str], None]) -> None:
    """Answer until it is stopped. Raises InputError if the port is taken."""
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
        app = build_app(desk)
        compile_aloud(app.state.readings.tasks.say, at_once=False)
        # Meanwhile the list can be looked at; a job that is opened at once waits no longer for it.
        threading.Thread(target=desk.warm_up, daemon=True).start()
        config = uvicorn.Config(app, log_level="warning", server_header=False)
        with suppress(KeyboardInterrupt):  # which is how a person stops it
            uvicorn.Server(config).run(sockets=[listener])
    desk.store.close()
