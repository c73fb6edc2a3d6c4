"""Recordings and pictures in parts, because a database holds no single value of 2 GB."""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection, insert, select

from sagtrace.adapters.store.tables import content, content_part
from sagtrace.app.kept import Content
from sagtrace.errors import StoreError, UnknownIdError

__all__ = ["has_content", "keep_content", "PART", "read_content"]

PART = 8_000_000  # [bytes] chosen: far below what a database holds in one value


def has_content(connection: Connection, sha256: str) -> bool:
    """Return whether this content is kept."""
    query = select(content.c.size).where(content.c.sha256 == sha256)
    return connection.execute(query).first() is not None


def keep_content(connection: Connection, sha256: str, kept: Content) -> None:
    """Keep a content."""
    row = {"sha256": sha256, "media": kept.media, "size": len(kept.data)}
    connection.execute(insert(content).values(**row))
    with memoryview(kept.data) as data:
        for position, start in enumerate(range(0, len(data), PART)):
            part = {"sha256": sha256, "position": position, "data": bytes(data[start:][:PART])}
            connection.execute(insert(content_part).values(**part))


def read_content(connection: Connection, sha256: str) -> Content:
    """Return a content; raise StoreError if it is no longer what was kept."""
    media = connection.execute(select(content.c.media).where(content.c.sha256 == sha256)).scalar()
    if media is None:
        raise UnknownIdError("content", sha256, ())
    parts = select(content_part.c.data).where(content_part.c.sha256 == sha256)
    rows = connection.execution_options(yield_per=1).execute(
        parts.order_by(content_part.c.position)
    )
    data = bytearray()
    for part in rows.scalars():
        data += part
    kept = bytes(data)
    if hashlib.sha256(kept).hexdigest() != sha256:
        raise StoreError(
            f"the file {sha256[:12]}… is kept, but damaged; restore a copy of the jobs."
        )
    return Content(data=kept, media=media)
