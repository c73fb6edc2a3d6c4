"""A job as one file: a ZIP archive of the job file with recordings and pictures beside it.

Unpacked it is a folder that the commands read. Nothing is ever unpacked to the disk here, and
nothing is read that the job does not name.
"""

from __future__ import annotations

import hashlib
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from io import BytesIO
from pathlib import PurePosixPath

from sagtrace.adapters.jobs import job_document, parse_job
from sagtrace.app.kept import Content
from sagtrace.errors import DocumentError
from sagtrace.vehicle.job import Job

__all__ = ["JobArchives"]

JOB = "job.yaml"
_YAML = (".yaml", ".yml")
_MOST_JOB = 8_000_000  # [bytes] as the job file of the commands
_MOST = 2_200_000_000  # [bytes] chosen: one recording of the largest size, and pictures
_GROWS = 100  # chosen: a recording as text shrinks to a fiftieth at best
_SMALL = 20_000_000  # [bytes] chosen: what an archive may hold whatever its size
_MOST_MEMBERS = 10_000  # chosen
_LONGEST_NAME = 200  # [bytes] chosen: below what file systems take
_MOMENT = (1980, 1, 1, 0, 0, 0)  # the first that the format knows, so that the same job is the same


class JobArchives:
    """Packs jobs and unpacks them."""

    def pack(self, job: Job, content: Callable[[str], Content]) -> bytes:
        """Return the archive of a job."""
        job, files = _named(job)
        out = BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
            archive.writestr(_info(JOB), job_document(job, JOB))
            for name, digest in files.items():
                archive.writestr(_info(name), content(digest).data)
        return out.getvalue()

    def unpack(self, data: bytes) -> tuple[Job, Mapping[str, bytes]]:
        """Return the job of an archive or of a bare job file, and its files by SHA-256."""
        if len(data) > _MOST:
            raise _refused(f"it has {len(data) / 1e9:.1f} GB; at most {_MOST / 1e9:.1f} are read")
        if not data.startswith(b"PK"):
            job = _job(data)
            for name in _files(job):
                problem = f"it names the file {name}; send a ZIP archive of its whole folder"
                raise DocumentError(JOB, None, "", problem)
            return job, {}
        try:
            with zipfile.ZipFile(BytesIO(data)) as archive:
                return _read(archive, len(data))
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as err:
            if isinstance(err, DocumentError):
                raise
            raise _refused(f"it is no ZIP archive or is damaged ({err})") from None
        except (NotImplementedError, RuntimeError):  # how a method or a password is refused
            problem = "it is packed with a password or in an uncommon way; pack it as plain ZIP"
            raise _refused(problem) from None


def _read(archive: zipfile.ZipFile, size: int) -> tuple[Job, Mapping[str, bytes]]:
    members = {info.filename: info for info in _members(archive)}
    place = _job_name(members)
    wanted = members[place]
    if wanted.file_size > _MOST_JOB:
        raise _refused(f"{place} has {wanted.file_size} bytes; at most {_MOST_JOB} are read")
    job = _job(archive.read(wanted))
    base = place.removesuffix(PurePosixPath(place).name)
    files = _files(job)
    total = 0
    for name in files:
        if base + name not in members:
            raise _refused(f"the job names the file {name}, which is not in it; pack it too")
        total += members[base + name].file_size
        if total > min(_MOST, _SMALL + _GROWS * size):
            raise _refused("it would unpack to far more than a job's recordings; it was not read")
    found: dict[str, bytes] = {}
    for name, digest in files.items():
        content = archive.read(members[base + name])
        if hashlib.sha256(content).hexdigest() != digest:
            problem = "the file is not the one that was attached (its content changed)"
            raise DocumentError(name, None, "", problem)
        found[digest] = content
    return job, found


def _members(archive: zipfile.ZipFile) -> Iterator[zipfile.ZipInfo]:
    infos = archive.infolist()
    if len(infos) > _MOST_MEMBERS:
        raise _refused(f"it holds {len(infos)} files; at most {_MOST_MEMBERS} are read")
    seen = set()
    for info in infos:
        name = info.filename
        kind = stat.S_IFMT(info.external_attr >> 16)
        if not _is_beside(name.removesuffix("/")) or kind not in (0, stat.S_IFREG, stat.S_IFDIR):
            raise _refused(f"{name!r} in it leads out of its folder; nothing was read")
        if name in seen:
            raise _refused(f"{name!r} is in it twice; which one counts?")
        seen.add(name)
        yield info


def _job_name(members: Mapping[str, zipfile.ZipInfo]) -> str:
    """Return the job file of an archive: job.yaml, or else the only YAML file."""
    found = [PurePosixPath(name) for name in members if name.lower().endswith(_YAML)]
    found = [path for path in found if path.name == JOB] or found
    nearest = min((len(path.parts) for path in found), default=0)
    found = [path for path in found if len(path.parts) == nearest]
    if len(found) != 1:
        many = f"{len(found)} YAML files; which one is the job? Name it" if found else "no job file"
        raise _refused(f"it holds {many} {JOB}" if found else f"it holds {many}; name it {JOB}")
    return str(found[0])


def _job(data: bytes) -> Job:
    if len(data) > _MOST_JOB:
        raise _refused(f"the job file has {len(data)} bytes; at most {_MOST_JOB} are read")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _refused("it is neither a ZIP archive nor a job file in UTF-8") from None
    return parse_job(text, JOB)


def _files(job: Job) -> dict[str, str]:
    """Return the SHA-256 of every file that the job names; raise DocumentError for a bad name."""
    named = [(r.file, r.sha256, "recordings") for r in job.recordings]
    named += [(n.photo, n.sha256, "notes") for n in job.notes if n.sha256]
    found: dict[str, str] = {}
    for name, digest, where in named:
        if not _is_beside(name) or name == JOB:
            problem = f"the file {name!r} does not lie beside the job file; copy it there"
            raise DocumentError(JOB, None, where, problem)
        if found.setdefault(name, digest) != digest:
            problem = f"{name} is named for two different files; give each its own name"
            raise DocumentError(JOB, None, where, problem)
    return found


def _is_beside(name: str) -> bool:
    parts = name.split("/")
    plain = name.isprintable() and not set(name) & set('\\:*?"<>|')
    short = all(len(part.encode()) <= _LONGEST_NAME for part in parts) if plain else False
    return plain and short and not {"", ".", ".."} & set(parts)


def _named(job: Job) -> tuple[Job, dict[str, str]]:
    """Return the job with a file name of its own for everything kept with it, and these names.

    A tablet calls every picture the same, and a name may be none that a disk takes.
    """
    taken = {JOB: ""}
    files: dict[str, str] = {}

    def name_for(wanted: str, digest: str, other: str) -> str:
        suffix = PurePosixPath(wanted).suffix
        others = (f"{other}-{n}{suffix if suffix.isascii() else ''}" for n in range(1, 10**6))
        for name in (wanted, *([] if _free(wanted, digest, taken) else others)):
            if _free(name, digest, taken):
                taken[name.casefold()] = files[name] = digest
                return name
        raise DocumentError(JOB, None, "", "there are too many files")  # pragma: no cover

    recordings = tuple(
        replace(r, file=name_for(r.file, r.sha256, "recording")) for r in job.recordings
    )
    notes = tuple(
        replace(n, photo=name_for(n.photo, n.sha256, "picture")) if n.sha256 else n
        for n in job.notes
    )
    return replace(job, recordings=recordings, notes=notes), files


def _free(name: str, digest: str, taken: Mapping[str, str]) -> bool:
    return _is_beside(name) and taken.get(name.casefold(), digest) == digest


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _MOMENT)
    info.create_system = 3  # whose attributes are those of files
    info.external_attr = (stat.S_IFREG | 0o644) << 16
    return info


def _refused(problem: str) -> DocumentError:
    return DocumentError("the job to be taken in", None, "", problem)
