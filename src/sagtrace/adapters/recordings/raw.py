"""The bytes of a recording: what kind of file they are, and its text in whole lines.

Assumes text unless a magic number says otherwise. Compressed files are refused, because how much
comes out of one is not known before. Text comes as UTF-8 in chunks that end with a line, so that a
large file is never held whole. Limits: `MAX_BYTES`, `MAX_LINE`; of the eight-bit encodings only
Western and Cyrillic ones are told apart.
"""

from __future__ import annotations

import codecs
import hashlib
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sagtrace.errors import DocumentError

__all__ = ["encoding_of", "kind_of", "MAX_BYTES", "MAX_LINE", "Raw", "Text"]

MAX_BYTES = 2_000_000_000  # [bytes] chosen: ten million rows of a dozen channels are half of it
MAX_LINE = 1_000_000  # [bytes] chosen: a thousand columns with long names are a tenth of it
CHUNK = 1 << 25  # [bytes] chosen: large enough for all cores, small beside the result
HEAD = 1 << 16  # [bytes] chosen: what an encoding is judged by
MANY_NULS = 0.2  # [-] chosen: UTF-16 of a table is almost half zeros, a binary file has many
CYRILLIC = re.compile(rb"[\xc0-\xff]{3,}")  # letters of cp1251; accents of cp1252 stand alone

_REFUSED = {
    b"\x1f\x8b": "gzip",
    b"PK\x03\x04": "zip (a workbook is one too)",
    b"BZh": "bzip2",
    b"\xfd7zXZ": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
    b"\x04\x22\x4d\x18": "lz4",
    b"7z\xbc\xaf": "7z",
    b"Rar!": "rar",
}
_NO_TABLE = {
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"%PDF": "a PDF",
    b"\xd0\xcf\x11\xe0": "a workbook or an old document",
    b"SQLite format 3": "a database",
    b"\x7fELF": "a program",
    b"MZ\x90": "a program",
}
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16, whose mark it begins with
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


class Raw:
    """A file's bytes, in memory or on disk."""

    def __init__(self, source: bytes | Path, name: str) -> None:
        self.source, self.name = source, name
        self.size = len(source) if isinstance(source, bytes) else self._size(source)
        if self.size > MAX_BYTES:
            size = f"{self.size / 1e6:.0f} MB; expected {MAX_BYTES / 1e6:.0f} MB at most"
            raise self.error(f"{size}. Cut the recording or record fewer times a second")
        if self.size <= CHUNK:
            self.source = self.read(0, self.size)  # once, because it is looked at several times

    def _size(self, path: Path) -> int:
        try:
            found = path.stat()
        except (OSError, ValueError) as err:
            reason = err.strerror if isinstance(err, OSError) else str(err)
            raise self.error(f"cannot be read ({reason})") from None
        if not stat.S_ISREG(found.st_mode):  # a pipe or device may have no end
            raise self.error("cannot be read (it is no regular file)")
        return found.st_size

    def error(self, problem: str, line: int | None = None, field: str = "") -> DocumentError:
        """Return an error about this file."""
        return DocumentError(self.name, line, field, problem)

    def read(self, at: int, count: int) -> bytes:
        """Return up to so many bytes from a place on."""
        if isinstance(self.source, bytes):
            return self.source if count >= self.size > at == 0 else self.source[at : at + count]
        try:
            with self.source.open("rb") as file:
                file.seek(at)
                return file.read(count)
        except OSError as err:
            raise self.error(f"cannot be read ({err.strerror})") from None

    def sha256(self) -> str:
        """Return the digest of the file as it came."""
        if isinstance(self.source, bytes):
            return hashlib.sha256(self.source).hexdigest()
        with self.source.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()

    def trailing_nuls(self) -> int:
        """Return how many zero bytes the file ends with, as after a loss of power."""
        end = self.size
        while end > 0:
            part = self.read(max(0, end - HEAD), min(HEAD, end))
            kept = part.rstrip(b"\0")
            if kept:
                return self.size - (end - len(part) + len(kept))
            end -= len(part)
        return self.size


def kind_of(raw: Raw) -> str:
    """Return "text", "parquet" or "mdf"; refuse what is compressed or no table."""
    head = raw.read(0, 16)
    for magic, what in _REFUSED.items():
        if head.startswith(magic):
            raise raw.error(f"a compressed file ({what}); unpack it first and give what is in it")
    for magic, what in _NO_TABLE.items():
        if head.startswith(magic):
            expected = "expected a table as text (CSV, TSV), Parquet or MDF 4"
            raise raw.error(f"bytes that are no text, but {what}; {expected}", line=1)
    if head.startswith(b"PAR1"):
        return "parquet"
    return "mdf" if head[:8] in (b"MDF     ", b"UnFinMF ") else "text"


def encoding_of(raw: Raw) -> tuple[str, int]:
    """Return the encoding of a text and the length of its mark; UTF-8 if nothing speaks against it.

    That a file is UTF-8 throughout shows only when it is read; see `Text`.
    """
    head = raw.read(0, HEAD)
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding, len(mark)
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if head and (even + odd) > MANY_NULS * len(head):
        if odd > 9 * even:
            return "utf-16-le", 0
        if even > 9 * odd:
            return "utf-16-be", 0
    return "utf-8", 0


def _western(head: bytes) -> str:
    try:
        head.decode("cp1252")
    except UnicodeDecodeError:  # five bytes mean nothing there
        return "latin-1"
    return "cp1252"


def _ascii_from(part: bytes, at: int) -> bool:
    return int(np.frombuffer(part, dtype=np.uint8, offset=at).max()) < 0x80


@dataclass(slots=True)
class Text:
    """A file's text as UTF-8, in chunks of whole lines that end with a line feed."""

    raw: Raw
    encoding: str
    mark: int
    nuls: int  # zero bytes at the end, left out
    clean: bool = True  # UTF-8 to the last byte

    @classmethod
    def of(cls, raw: Raw) -> Text:
        """Return the text of a file, after finding its encoding."""
        encoding, mark = encoding_of(raw)
        nuls = 0 if encoding.startswith(("utf-16", "utf-32")) else raw.trailing_nuls()
        text = cls(raw, encoding, mark, nuls)
        if encoding == "utf-8" and not text._is_utf8():
            head = raw.read(0, HEAD)
            text.encoding = "cp1251" if CYRILLIC.search(head) else _western(head)
        return text

    @property
    def end(self) -> int:
        """Where the text ends in the file."""
        return self.raw.size - self.nuls

    def _is_utf8(self) -> bool:
        decoder = codecs.getincrementaldecoder("utf-8")()
        for at in range(self.mark, self.end, CHUNK):
            part = self.raw.read(at, min(CHUNK, self.end - at))
            waiting = decoder.getstate()[0]
            if part.isascii() and not waiting:
                continue
            # Most often only the header is not ASCII; one byte more shows a broken end of it.
            short = len(part) > HEAD and not waiting and _ascii_from(part, HEAD)
            try:
                decoder.decode(part[: HEAD + 1] if short else part)
            except UnicodeDecodeError:
                return False
        self.clean = not decoder.getstate()[0]  # a file may be cut off within a character
        return True

    def chunks(self) -> Iterator[bytes]:
        """Yield the text. Raises DocumentError for zero bytes and for a line without end."""
        rest, lines, returns, before = b"", 0, False, b""
        for k, part in enumerate(self._decoded()):
            if k == 0:
                returns = b"\r" in part[:HEAD] and b"\n" not in part[:HEAD]
            if returns:
                part = part.replace(b"\r", b"\n")
            lines, before = lines + before.count(b"\n"), b""
            self._refuse_nuls(part, lines)
            part = rest + part if rest else part
            cut = part.rfind(b"\n") + 1
            if len(part) - cut > MAX_LINE:
                line = lines + part.count(b"\n") + 1
                problem = f"a line of more than {MAX_LINE} bytes; expected a table in lines"
                raise self.raw.error(problem, line=line)
            rest = part[cut:]
            if cut:
                before = part if cut == len(part) else part[:cut]
                yield before
        if rest:
            yield rest

    def _decoded(self) -> Iterator[bytes]:
        plain = self.encoding == "utf-8" and self.clean
        decoder = codecs.getincrementaldecoder(self.encoding)("replace")
        for at in range(self.mark, self.end, CHUNK):
            part = self.raw.read(at, min(CHUNK, self.end - at))
            if plain:
                yield part
            else:
                yield decoder.decode(part, final=at + CHUNK >= self.end).encode()

    def _refuse_nuls(self, part: bytes, lines: int) -> None:
        if (nul := part.find(b"\0")) >= 0:
            line = lines + part.count(b"\n", 0, nul) + 1
            raise self.raw.error("a zero byte; expected a CSV file, which is text", line=line)

    def sample(self, blocks: int, size: int) -> Iterator[bytes]:
        """Yield whole lines from places spread evenly over a large file."""
        unit = 4 if "32" in self.encoding else 2 if "16" in self.encoding else 1
        for k in range(blocks):
            at = self.mark + k * (self.end - self.mark - size) // blocks // unit * unit
            text = self.raw.read(at, size).decode(self.encoding, "ignore").replace("\r\n", "\n")
            yield "\n".join(text.replace("\r", "\n").split("\n")[1:-1]).replace("\0", "").encode()
