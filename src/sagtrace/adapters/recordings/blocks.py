"""Looks through the blocks of an MDF 4 file before the library reads them.

The chains of data groups, channel groups, channels and data lists must end, no block may point
outside the file, and a packed block must unpack to what it says. Layout of the blocks: ASAM MDF 4
(header of 24 bytes, then links of 8 bytes). Limits: packing by deflate only; what a block says of
itself beyond these sizes is left to the library.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from sagtrace.adapters.recordings.layout import MAX_COLUMNS
from sagtrace.adapters.recordings.raw import Raw

__all__ = ["check_blocks"]

MAX_UNPACKED = 1_500_000_000  # [bytes] chosen: of all records; as much as the largest text file
HEADER, LINK = 24, 8  # [bytes]
FIRST = 64  # [bytes] where the header block stands
PIECE = 1 << 20  # [bytes] chosen: unpacked at a time, and thrown away
GROUPS = 10_000  # [-] chosen: a recording has some dozens
DEFLATE, TRANSPOSED = 0, 1


def check_blocks(raw: Raw) -> None:
    """Raise DocumentError if the file is unfinished, damaged, endless or a bomb."""
    start = raw.read(0, FIRST)[:FIRST]
    if start.startswith(b"UnFinMF "):
        raise raw.error("an MDF file that its recorder never finished; export it again")
    if not start[8:16].strip().startswith(b"4"):
        version = start[8:16].decode("latin-1").strip("\0 ")
        raise raw.error(f"MDF version {version!r}; expected version 4. Convert it, or export CSV")
    _Walk(raw).whole_file()


class _Walk:
    def __init__(self, raw: Raw) -> None:
        self.raw, self.seen, self.unpacked, self.channels = raw, set[int](), 0, 0

    def whole_file(self) -> None:
        links, _ = self.block(FIRST, b"##HD")
        for dg, _ in self.chain(links[0], b"##DG"):
            for cg, data in self.chain(dg[1], b"##CG"):
                self.records(data)
                self.channel_chain(cg[1])
            self.data(dg[2])

    def block(self, at: int, *kinds: bytes) -> tuple[tuple[int, ...], bytes]:
        """Return links and data of a block."""
        if at in self.seen or len(self.seen) > GROUPS * 10:
            raise self.raw.error("a damaged MDF file: its blocks go round in a circle")
        self.seen.add(at)
        head = self.raw.read(at, HEADER) if 0 < at <= self.raw.size - HEADER else b""
        if len(head) < HEADER or head[:4] not in kinds:
            names = " or ".join(kind.decode() for kind in kinds)
            raise self.raw.error(f"a damaged or cut off MDF file: no {names} block at byte {at}")
        length, count = struct.unpack("<QQ", head[8:])
        if length < HEADER + LINK * count or at + length > self.raw.size or count > PIECE:
            raise self.raw.error(f"a damaged or cut off MDF file: block too long at byte {at}")
        links = struct.unpack(
            f"<{count}Q", self.raw.read(at + HEADER, LINK * count)[: LINK * count]
        )
        after = at + HEADER + LINK * count
        return links, self.raw.read(after, min(length - HEADER - LINK * count, 64))

    def chain(self, at: int, kind: bytes) -> Iterator[tuple[tuple[int, ...], bytes]]:
        """Yield the blocks of a chain, whose first link is the next."""
        while at:
            links, data = self.block(at, kind)
            yield links + (0,) * 8, data
            at = links[0] if links else 0

    def records(self, data: bytes) -> None:
        """Refuse more records than can be held."""
        cycles = struct.unpack_from("<Q", data, 8)[0] if len(data) >= 32 else 0
        size = sum(struct.unpack_from("<II", data, 24)) if len(data) >= 32 else 0
        self.count(cycles * max(1, size))

    def count(self, size: int) -> None:
        self.unpacked += size
        if self.unpacked > 2 * MAX_UNPACKED:  # records are counted here, and again as data
            problem = f"more than {MAX_UNPACKED / 1e6:.0f} MB when unpacked; cut the recording"
            raise self.raw.error(problem)

    def channel_chain(self, at: int) -> None:
        for links, _ in self.chain(at, b"##CN"):
            self.channels += 1
            if self.channels > MAX_COLUMNS:
                problem = f"more than {MAX_COLUMNS} channels; export fewer"
                raise self.raw.error(problem)
            if links[1] and self.raw.read(links[1], 4) == b"##CN":
                self.channel_chain(links[1])

    def data(self, at: int) -> None:
        if not at:
            return
        kind = self.raw.read(at, 4)
        if kind == b"##DZ":
            self.packed(at)
        elif kind == b"##HL":
            links, _ = self.block(at, b"##HL")
            self.data(links[0] if links else 0)
        elif kind in (b"##DL", b"##LD"):
            for links, _ in self.chain(at, kind):
                for part in links[1:]:
                    self.data(part)
        else:
            self.block(at, b"##DT", b"##DV", b"##SD", b"##DI")

    def packed(self, at: int) -> None:
        """Unpack a block and throw it away, to see that it gives no more than it says."""
        _, data = self.block(at, b"##DZ")
        if len(data) < 24:
            raise self.raw.error(f"a damaged MDF file: a packed block without sizes at byte {at}")
        method, (said, size) = data[2], struct.unpack_from("<QQ", data, 8)
        if method not in (DEFLATE, TRANSPOSED):
            raise self.raw.error("an MDF file packed in a way other than deflate; export it again")
        self.count(said)
        if at + HEADER + 24 + size > self.raw.size:
            raise self.raw.error(f"a cut off MDF file: a packed block ends outside it at byte {at}")
        unpacker, got = zlib.decompressobj(), 0
        rest = self.raw.read(at + HEADER + 24, size)
        try:
            while rest and not unpacker.eof:
                got += len(unpacker.decompress(rest, PIECE))
                rest = unpacker.unconsumed_tail
                if got > said:
                    problem = f"a packed block unpacks to more than it says, at byte {at}"
                    raise self.raw.error(f"a damaged or hostile MDF file: {problem}")
        except zlib.error as err:
            raise self.raw.error(f"a damaged MDF file: {err} at byte {at}") from None
        if got != said:
            raise self.raw.error(f"a damaged MDF file: a packed block is short at byte {at}")
