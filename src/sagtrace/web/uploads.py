"""Files that were sent and belong to no job yet: kept aside until they are attached or given up.

They lie in a folder that goes with the process. Limits: `LARGEST` a file, `MOST` files; the oldest
go first.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import re
import shutil
import stat
import tempfile
import threading
import time
import weakref
from collections import OrderedDict
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path, PurePosixPath
from typing import IO

from starlette.exceptions import HTTPException

from sagtrace.errors import InputError, UnknownIdError
from sagtrace.web.words import _

__all__ = ["LARGEST", "Upload", "Uploads", "file_name"]

LARGEST = 2_000_000_000  # [bytes] chosen: what the reader of recordings takes
MOST = 20  # chosen: files that wait to be attached
NAME = 120  # [characters] chosen
_MADE = re.compile("[a-z0-9_]{8}")  # what a temporary file is called
PREFIX = "sagtrace-"  # of the folder's name
IN_USE = ".in-use"  # locked by the process whose folder it is
OLD = 2 * 24 * 3600  # [s] chosen: a folder without a lock is left by then
YOUNG = 60  # [s] chosen: between making a lock and holding it


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A file as it came."""

    sha256: str
    name: str
    size: int  # [bytes]
    path: Path


class Uploads:
    """Where files wait, by job and content. Safe to use from several threads."""

    def __init__(self, largest: int = LARGEST) -> None:
        self.largest = largest
        _tidy(Path(tempfile.gettempdir()))
        place = Path(tempfile.mkdtemp(prefix=PREFIX))
        self._folder = place / "sent"
        self._folder.mkdir()
        in_use = (place / IN_USE).open("wb")
        fcntl.flock(in_use, fcntl.LOCK_EX)  # as long as the process lives
        self._known: OrderedDict[tuple[str, str], Upload] = OrderedDict()
        self._lock = threading.Lock()
        weakref.finalize(self, _give_up, place, in_use)

    async def take(self, job: str, name: str, parts: AsyncIterator[bytes], told: int) -> Upload:
        """Keep what comes; `told` is the size that the sender says, 0 if it says none.

        Raises HTTPException 413 for too much, InputError for nothing and OSError if the disk takes
        it not; nothing is kept then.
        """
        self._refuse(told)
        digest, size = hashlib.sha256(), 0
        with tempfile.NamedTemporaryFile(dir=self._folder, delete=False) as file:
            path = Path(file.name)
            try:
                async for part in parts:
                    size += len(part)
                    self._refuse(size)
                    digest.update(part)
                    file.write(part)
                if size == 0:
                    raise InputError(
                        _("%(file)s is empty; choose the file that the tool exported.", file=name)
                    )
                file.flush()  # here, so that nothing is left if the disk is full
            except BaseException:  # whatever ended it, a sender that went away too
                path.unlink(missing_ok=True)
                raise
        found = Upload(sha256=digest.hexdigest(), name=name, size=size, path=path)
        self._keep(job, found)
        return found

    def _refuse(self, size: int) -> None:
        if size > self.largest:
            most = f"{self.largest / 1e6:,.0f}".replace(",", " ")
            raise HTTPException(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                _(
                    "The file has more than %(most)s MB, which is the most that is read. Export a "
                    "shorter stretch, or fewer channels.",
                    most=most,
                ),
            )

    def _keep(self, job: str, upload: Upload) -> None:
        with self._lock:
            before = self._known.pop((job, upload.sha256), None)
            self._known[job, upload.sha256] = upload
            gone = [before] if before else []
            while len(self._known) > MOST:
                gone.append(self._known.popitem(last=False)[1])
        for old in gone:
            old.path.unlink(missing_ok=True)

    def get(self, job: str, sha256: str) -> Upload:
        """Return a file; raise UnknownIdError if it does not wait here."""
        with self._lock:
            found = self._known.get((job, sha256))
        if found is None:
            hint = _("Files that are not attached are kept until the program ends; send it again.")
            raise UnknownIdError("sent file", sha256, (), hint)
        return found

    def of(self, job: str) -> tuple[Upload, ...]:
        """Return the files that wait for a job, oldest first."""
        with self._lock:
            return tuple(upload for (one, _), upload in self._known.items() if one == job)

    def drop(self, job: str, sha256: str) -> None:
        """Forget a file."""
        with self._lock:
            gone = self._known.pop((job, sha256), None)
        if gone is not None:
            gone.path.unlink(missing_ok=True)


def _give_up(folder: Path, in_use: IO[bytes]) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    in_use.close()


def _tidy(place: Path) -> None:
    """Remove the folders of processes that ended without doing so.

    Only this user's own: those whose lock nobody holds, or, without one, those of this program's
    older versions that nothing touched since `OLD`.
    """
    for folder in place.glob(f"{PREFIX}*"):
        with suppress(OSError):  # another process may tidy, too
            found = folder.lstat()
            if stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and _is_left(folder):
                shutil.rmtree(folder, ignore_errors=True)


def _is_left(folder: Path) -> bool:
    lock = folder / IN_USE
    if not lock.is_file():
        names = [folder.name.removeprefix(PREFIX), *(p.name[3:] for p in folder.glob("tmp*"))]
        ours = len(names) == 1 + len(list(folder.iterdir())) and all(map(_MADE.fullmatch, names))
        return ours and time.time() - folder.lstat().st_mtime > OLD
    if time.time() - lock.stat().st_mtime < YOUNG:
        return False
    with lock.open("rb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
    return True


def file_name(text: str) -> str:
    r"""Return the last part of a path as a name to show and keep.

    >>> file_name("C:\\logs\\drive.csv"), file_name(" ")
    ('drive.csv', 'recording')
    """
    last = PurePosixPath(text.replace("\\", "/")).name
    tidy = "".join(c for c in last if c.isprintable()).strip()
    return tidy[-NAME:] or "recording"
