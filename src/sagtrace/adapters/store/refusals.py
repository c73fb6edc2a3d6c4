"""What a database refuses, in words that say what is wrong and the way out."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from sagtrace.errors import SagtraceError, StoreError

__all__ = ["in_words", "reason"]

_SQLITE = {
    "SQLITE_FULL": "the disk is full; free some space and do it again",
    "SQLITE_BUSY": "another program holds it locked; do it again, or end that program",
    "SQLITE_LOCKED": "another program holds it locked; do it again, or end that program",
    "SQLITE_NOTADB": "it is no database, or it is damaged; name another file or restore a copy",
    "SQLITE_CORRUPT": "it is damaged; restore a copy",
    "SQLITE_READONLY": "it may only be read; give yourself the right to write the file and folder",
    "SQLITE_PERM": "there is no permission; give yourself the right to write the file and folder",
    "SQLITE_CANTOPEN": "it cannot be opened; see that file and folder are there and may be written",
    "SQLITE_IOERR": "the disk could not read or write; see to the disk, then do it again",
    "SQLITE_TOOBIG": "it is too large to be kept",
    "SQLITE_NOMEM": "the memory is full",
}
_SQLSTATE = {  # PostgreSQL's own list of error codes; the first two characters are the class
    "28": "the server refuses this user or password",
    "3D": "the server has no such database; make it first",
    "42501": "this user may not do that there; ask whoever looks after the server for the right",
    "25006": "the server may only be read now",
    "53100": "the server's disk is full",
    "53": "the server has no room for more just now; do it again",
    "55P03": "another program holds it locked; do it again",
    "57": "the server was stopped or stopped this; do it again",
    "08": "the server does not answer; see that it runs and can be reached",
    "40": "others changed it at the same moment; do it again",
    "XX": "the server found its data damaged; whoever looks after it must restore a copy",
}


@contextmanager
def in_words(where: str) -> Iterator[None]:
    """Turn whatever the database or its driver raises into a StoreError.

    `where` is the place as a person may see it, without a password. An IntegrityError goes
    through, because only who wrote knows what was there already.
    """
    try:
        yield
    except (SagtraceError, IntegrityError):
        raise
    except (SQLAlchemyError, OSError, ValueError, TypeError, KeyError, OverflowError) as err:
        # Whether a change reached a server that then fell silent, nobody knows; its key tells.
        raise StoreError(
            f"the jobs in {where}: {reason(err)}. What was kept before is untouched."
        ) from err


def reason(err: Exception) -> str:
    """Return in words why a database refused."""
    if not isinstance(err, DBAPIError):
        if isinstance(err, SQLAlchemyError):
            return f"the database gives no answer ({_first_line(err)})"
        if isinstance(err, OSError):
            return str(err.strerror or err)
        return f"what is kept cannot be read ({_first_line(err)})"
    cause = err.orig
    name = str(getattr(cause, "sqlite_errorname", "") or "")
    for known, said in _SQLITE.items():
        if name == known or name.startswith(f"{known}_"):
            return said
    state = str(getattr(cause, "sqlstate", "") or "")
    for key in (state, state[:2]):
        if key in _SQLSTATE:
            return _SQLSTATE[key]
    said = _first_line(cause if cause is not None else err)
    if not state and not name:
        return _unreached(said)
    return f"the database refused it ({said})"


def _unreached(said: str) -> str:
    # A connection that was never made has no code, only the library's sentence.
    for part, key in (("password authentication", "28"), ("role ", "28"), ("database ", "3D")):
        if part in said:
            return f"{_SQLSTATE[key]} ({said})"
    return f"{_SQLSTATE['08']} ({said})"


def _first_line(err: BaseException) -> str:
    lines = str(err).strip().splitlines()
    return lines[0].rstrip(".") if lines else type(err).__name__
