"""The knowledge files, read, checked and put together.

Any file may hold any of the lists; the folder names are for people. A mistake names file,
line, field and the nearest right name.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

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
        if entry.is_dir():
            yield from _yaml_files(entry, f"{below}{entry.name}/")
        elif entry.name.endswith(".yaml"):
            yield below + entry.name, entry


def load_knowledge(folder: Traversable, models: Mapping[str, Takes]) -> Knowledge:
    """Return the knowledge below the folder.

    `models` maps the name of every evidence model to what it takes. Raises DocumentError at the
    first mistake, with file, line and field.
    """
    digest = hashlib.sha256()
    documents: list[LocatedDocument] = []
    parts: list[_File] = []
    for name, entry in _yaml_files(folder):
        text = entry.read_text(encoding="utf-8")
        digest.update(f"{name}\0{text}\0".encode())
        document = load_located(text, name)
        documents.append(document)
        parts.append(document.into(_File))
    merged: dict[str, Any] = {
        kind: tuple(record for part in parts for record in getattr(part, kind)) for kind in _LISTS
    }
    tariffs = [part.tariff for part in parts if part.tariff]
    if len(tariffs) != 1:
        problem = f"expected exactly one file with a tariff, found {len(tariffs)}"
        raise DocumentError(str(folder), None, "tariff", problem)
    edition = next((part.edition for part in parts if part.edition), "unnamed")
    knowledge = Knowledge(edition=edition, digest=digest.hexdigest(), tariff=tariffs[0], **merged)
    if (first := next(problems(knowledge, models), None)) is not None:
        raise _located(first, documents)
    return knowledge


def _located(problem: Problem, documents: list[LocatedDocument]) -> DocumentError:
    """Return the problem as an error at its line; the last record of that id is meant."""
    for document in reversed(documents):
        records = document.data.get(problem.kind, []) if isinstance(document.data, dict) else []
        for i in reversed(range(len(records))):
            if records[i].get("id") == problem.id:
                return document.error((problem.kind, i, *problem.path), problem.text)
    return DocumentError("knowledge", None, f"{problem.kind} {problem.id}", problem.text)
