"""Files that were sent and belong to no job yet: kept aside until they are attached or given up.

They lie in a folder that goes with the process. Limits: `LARGEST` a file, `MOST` files; the oldest
go first.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import threading
import weakref
from collections import OrderedDict
from collections.abc import AsyncIterator
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path, PurePosixPath

from starlette.exceptions import HTTPException

from sagtrace.errors import InputError, UnknownIdError

__all__ = ["LARGEST", "Upload", "Uploads", "file_name"]

LARGEST = 2_000_000_000  # [bytes] chosen: what the reader of recordings takes
MOST = 20  # chosen: files that wait to be attached
NAME = 120  # [characters] chosen


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
        self._folder = Path(tempfile.mkdtemp(prefix="sagtrace-"))
        self._known: OrderedDict[tuple[str, str], Upload] = OrderedDict()
        self._lock = threading.Lock()
        weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)

    async def take(self, job: str, name: str, parts: AsyncIterator[bytes], told: int) -> Upload:
        """Keep what comes; `told` is the size that the sender says, 0 if it says none.

        Raises HTTPException 413 for too much and InputError for nothing; nothing is kept then.
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
                    raise InputError(f"{name} is empty; choose the file that the tool exported.")
            except BaseException:  # whatever ended it, a sender that went away too
                path.unlink(missing_ok=True)
                raise
        found = Upload(sha256=digest.hexdigest(), name=name, size=size, path=path)
        self._keep(job, found)
        return found

    def _refuse(self, size: int) -> None:
        if size > self.largest:
            raise HTTPException(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                f"The file has more than {self.largest / 1e6:,.0f} MB, which is the most that is "
                "read. Export a shorter stretch, or fewer channels.".replace(",", " ", 1),
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
            hint = "Files that are not attached are kept until the program ends; send it again."
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


def file_name(text: str) -> str:
    r"""Return the last part of a path as a name to show and keep.

    >>> file_name("C:\\logs\\drive.csv"), file_name(" ")
    ('drive.csv', 'recording')
    """
    last = PurePosixPath(text.replace("\\", "/")).name
    tidy = "".join(c for c in last if c.isprintable()).strip()
    return tidy[-NAME:] or "recording"
