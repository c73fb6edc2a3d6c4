"""A recording whose header says every role, such as time [s], height.rear [mm], pump.command [-].

Anything else about the file may be as the import of recordings takes it (see
`sagtrace.adapters.recordings`); no role is guessed.
"""

from __future__ import annotations

from sagtrace.adapters.recordings.read import import_recording
from sagtrace.adapters.words import load_words
from sagtrace.errors import DocumentError
from sagtrace.signals.imported import Assignment
from sagtrace.signals.trace import ROLES, Trace

__all__ = ["read_csv_recording"]


def read_csv_recording(data: bytes, name: str) -> Trace:
    """Return the recording that a file holds, in SI.

    `name` is what the file is called in an error. Raises DocumentError for bytes that are no such
    recording.
    """
    named = Assignment(guess=False)
    trace = import_recording(data, name, words=load_words(), assignment=named).trace
    if not trace.channels:
        known = ", ".join(list(ROLES)[:8])
        raise DocumentError(name, 1, "header", f"no column is named like a channel; known: {known}")
    return trace
