"""What a disk refuses, in words that say the way out."""

from __future__ import annotations

import errno
from collections.abc import Mapping

from sagtrace.web.words import _, later

__all__ = ["disk_words"]

_LOST = later("Nothing of it was kept; what was kept before is untouched.")
_WORDS: Mapping[int, str] = {
    errno.ENOSPC: later("The disk is full. Free some space and do it again."),
    errno.EDQUOT: later("The disk space that you may use is full. Free some and do it again."),
    errno.EFBIG: later("The file is larger than this disk can hold. Send a smaller one."),
    errno.EACCES: later("The folder for temporary files may not be written. See to its rights."),
    errno.EPERM: later("The folder for temporary files may not be written. See to its rights."),
    errno.EROFS: later("The folder for temporary files may only be read. See to its rights."),
    errno.ENOENT: later("The folder for temporary files is gone. Start the program again."),
    errno.EMFILE: later("Too many files are open at once. Do it again."),
    errno.ENFILE: later("Too many files are open at once. Do it again."),
    errno.EIO: later("The disk could not read or write. See to the disk, then do it again."),
}


def disk_words(err: BaseException | None) -> str:
    """Return what a person can do about what a disk refused; empty if it was no disk.

    >>> disk_words(OSError(errno.ENOSPC, "No space left on device"))[:17]
    'The disk is full.'
    """
    said = _WORDS.get(err.errno or 0, "") if isinstance(err, OSError) else ""
    return f"{_(said)} {_(_LOST)}" if said else ""
