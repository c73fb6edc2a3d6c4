"""A line between a browser and the workbench that can be cut: bytes pass, or the line breaks."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

__all__ = ["Line", "line_to"]

Cut = Callable[[bytes], bool]


def _never(_: bytes) -> bool:
    return False


@dataclass(kw_only=True)
class Line:
    """Passes on what comes, until one of the tests says that the line breaks there.

    `up` sees everything that a connection has asked so far, and breaks the line before the last
    piece is passed on. `down` sees the questions too, and breaks it before the answer is.
    """

    port: int = 0
    up: Cut = _never
    down: Cut = _never
    cuts: list[str] = field(default_factory=list)
    answers: list[bytes] = field(default_factory=list)  # that were swallowed

    def heal(self) -> None:
        self.up = self.down = _never


@contextmanager
def line_to(address: tuple[str, int]) -> Iterator[Line]:
    """Listen on a port of this machine and pass on every connection to the address."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        line = Line(port=listener.getsockname()[1])
        threading.Thread(target=_accept, args=(line, listener, address), daemon=True).start()
        yield line
        listener.shutdown(socket.SHUT_RDWR)  # which wakes the thread that waits at it


def _accept(line: Line, listener: socket.socket, address: tuple[str, int]) -> None:
    with suppress(OSError):
        while True:
            near, _ = listener.accept()
            far = socket.create_connection(address)
            asked = bytearray()
            for job in ((_ask, near, far), (_answer, near, far)):
                call, *ends = job
                threading.Thread(target=call, args=(line, asked, *ends), daemon=True).start()


def _ask(line: Line, asked: bytearray, near: socket.socket, far: socket.socket) -> None:
    with suppress(OSError):
        while piece := near.recv(65536):
            if piece.startswith((b"GET ", b"POST ")):
                asked.clear()  # because a connection carries one question after the other
            asked += piece
            if line.up(bytes(asked)):
                line.cuts.append("up")
                far.sendall(piece[: len(piece) // 2])
                break
            far.sendall(piece)
    _close(near, far)


def _answer(line: Line, asked: bytearray, near: socket.socket, far: socket.socket) -> None:
    with suppress(OSError):
        while piece := far.recv(65536):
            if line.down(bytes(asked)):
                line.cuts.append("down")
                line.answers.append(piece)
                break
            near.sendall(piece)
    _close(near, far)


def _close(*ends: socket.socket) -> None:
    for end in ends:
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)
        end.close()
