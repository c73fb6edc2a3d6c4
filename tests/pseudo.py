"""A language that is none: every message of the catalogue in brackets, its letters accented.

What is shown without brackets in it has not been through the catalogue.
"""

from __future__ import annotations

import re
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from sagtrace.web.catalogues import DOMAIN, LOCALE

__all__ = ["LANGUAGE", "messages", "OPEN", "pseudo", "SHUT", "write_pseudo"]

LANGUAGE = "en_XA"
OPEN, SHUT = "⟦", "⟧"
ACCENTED = str.maketrans("aceinostuyACEINOSTUY", "áçéíñóšťúýÁÇÉÍÑÓŠŤÚÝ")
KEPT = re.compile(r"(%\(\w+\)s|%%|<[^>]*>|&\w+;)")


def pseudo(text: str) -> str:
    """Return a message in the language, its places, tags and per cent signs as they are."""
    parts = KEPT.split(text)
    inside = "".join(p if i % 2 else p.translate(ACCENTED) for i, p in enumerate(parts))
    return f"{OPEN}{inside}{SHUT}"


def messages() -> list[str]:
    """Return every message of the catalogue, of those with a number each form."""
    with (LOCALE / f"{DOMAIN}.pot").open("rb") as file:
        read = [message.id for message in read_po(file) if message.id]
    return [text for ids in read for text in ([ids] if isinstance(ids, str) else ids)]


def write_pseudo(folder: Path, *, without: str = "") -> Path:
    """Write the template and the language, but for one message, and return the folder."""
    template = (LOCALE / f"{DOMAIN}.pot").read_bytes()
    place = folder / LANGUAGE / "LC_MESSAGES"
    place.mkdir(parents=True)
    (folder / f"{DOMAIN}.pot").write_bytes(template)
    with (LOCALE / f"{DOMAIN}.pot").open("rb") as file:
        read = read_po(file)
    made = Catalog(charset="utf-8")
    for message in read:
        if not message.id or without in (message.id, message.id[0]):
            continue
        if isinstance(message.id, tuple | list):
            made.add(message.id, tuple(pseudo(text) for text in message.id))
        else:
            made.add(message.id, pseudo(message.id))
    with (place / f"{DOMAIN}.po").open("wb") as out:
        write_po(out, made)
    return folder
