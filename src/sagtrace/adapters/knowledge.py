"""The knowledge files, read, checked and put together.

Any file may hold any of the lists; the folder names are for people. A mistake names file,
line, field and the nearest right name.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from sagtrace.adapters.documents import LocatedDocument, load_located
from sagtrace.errors import DocumentError
from sagtrace.vehicle.audit import Problem, Takes, problems
from sagtrace.vehicle.checks import Access, Caution, Check
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Component, Layout, Source
from sagtrace.vehicle.nodes import Condition, Fault
from sagtrace.vehicle.repairs import Proof, Repair, Tariff

__all__ = ["load_knowledge", "SHIPPED"]

SHIPPED = files("sagtrace") / "knowledge"
_APART = (
    "drawing",
    "recording",
    "virtual",
)  # folders with data of another form, which other adapters read


@dataclass(frozen=True, slots=True, kw_only=True)
class _File:
    """What one file may hold."""

    edition: str = ""
    sources: tuple[Source, ...] = ()
    components: tuple[Component, ...] = ()
    layouts: tuple[Layout, ...] = ()
    faults: tuple[Fault, ...] = ()
    conditions: tuple[Condition, ...] = ()
    cautions: tuple[Caution, ...] = ()
    access: tuple[Access, ...] = ()
    checks: tuple[Check, ...] = ()
    repairs: tuple[Repair, ...] = ()
    proofs: tuple[Proof, ...] = ()
    tariff: Tariff | None = None


_LISTS = tuple(f.name for f in fields(_File) if f.name not in ("edition", "tariff"))


def _yaml_files(folder: Traversable, below: str = "") -> Iterator[tuple[str, Traversable]]:
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if not below and entry.name in _APART:
            continue
        if entry.is_dir():
            yield from _yaml_files(entry, f"{below}{entry.name}/")
        elif entry.name.endswith(".yaml"):
            yield below + entry.name, entry


def load_knowledge(
    folder: Traversable, models: Mapping[str, Takes], cache: Path | None = None
) -> Knowledge:
    """Return the knowledge below the folder.

    `models` maps the name of every evidence model to what it takes. Raises DocumentError at the
    first mistake, with file, line and field. What was once read and found right is kept in the
    folder `cache`, under the digest of the files, because reading with lines takes a second.
    """
    texts = [(name, entry.read_text(encoding="utf-8")) for name, entry in _yaml_files(folder)]
    digest = hashlib.sha256("\0".join(part for pair in texts for part in pair).encode()).hexdigest()
    kept = None if cache is None else cache / f"knowledge-{digest[:24]}.json"
    if kept is not None and (knowledge := _from_cache(kept, digest)) is not None:
        return knowledge
    knowledge = _read(texts, digest, str(folder), models)
    if kept is not None:
        _to_cache(kept, knowledge)
    return knowledge


def _from_cache(kept: Path, digest: str) -> Knowledge | None:
    try:
        knowledge = TypeAdapter(Knowledge).validate_json(kept.read_bytes())
    except (OSError, ValueError):
        return None  # no cache, or one of another program version: read the files
    return knowledge if knowledge.digest == digest else None


def _to_cache(kept: Path, knowledge: Knowledge) -> None:
    part = kept.with_suffix(f".{os.getpid()}.part")
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(TypeAdapter(Knowledge).dump_json(knowledge))
        part.replace(kept)
    except OSError:
        # A cache that cannot be kept is no reason to fail.
        with suppress(OSError):
            part.unlink()


def _read(
    texts: Sequence[tuple[str, str]], digest: str, folder: str, models: Mapping[str, Takes]
) -> Knowledge:
    documents: list[LocatedDocument] = []
    parts: list[_File] = []
    for name, text in texts:
        document = load_located(text, name)
        documents.append(document)
        parts.append(document.into(_File))
    merged: dict[str, Any] = {
        kind: tuple(record for part in parts for record in getattr(part, kind)) for kind in _LISTS
    }
    tariff = _only_tariff(folder, documents, parts)
    edition = next((part.edition for part in parts if part.edition), "unnamed")
    knowledge = Knowledge(edition=edition, digest=digest, tariff=tariff, **merged)
    if (first := next(problems(knowledge, models), None)) is not None:
        raise _located(first, documents)
    return knowledge


def _only_tariff(
    folder: str, documents: Sequence[LocatedDocument], parts: Sequence[_File]
) -> Tariff:
    found = [
        (document, part.tariff)
        for document, part in zip(documents, parts, strict=True)
        if part.tariff
    ]
    if not found:
        raise DocumentError(folder, None, "tariff", "no file has a tariff; expected exactly one")
    if len(found) > 1:
        problem = f"a second tariff, and one is wanted; the first is in {found[0][0].source}"
        raise found[1][0].error(("tariff",), problem)
    return found[0][1]


def _located(problem: Problem, documents: list[LocatedDocument]) -> DocumentError:
    """Return the problem as an error at its line; the last record of that id is meant."""
    for document in reversed(documents):
        records = document.data.get(problem.kind, []) if isinstance(document.data, dict) else []
        if isinstance(records, dict):  # the tariff, of which there is one
            return document.error((problem.kind, *problem.path), problem.text)
        for i in reversed(range(len(records))):
            if records[i].get("id") == problem.id:
                return document.error((problem.kind, i, *problem.path), problem.text)
    return DocumentError("knowledge", None, f"{problem.kind} {problem.id}", problem.text)
