"""The workshop's own heading, as it stands on its papers."""

from __future__ import annotations

from dataclasses import dataclass

from sagtrace.errors import InputError
from sagtrace.units import Own
from sagtrace.vehicle.identity import LONGEST, check_line

__all__ = ["Heading", "NO_HEADING"]

_MOST = 3  # lines below the name


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """Name of the workshop and up to three lines, such as address and telephone.

    Raises InputError for more lines, and for a text that is not one short line.
    """

    name: str = ""
    lines: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_line("name of the workshop", self.name)
        for number, line in enumerate(self.lines, start=1):
            check_line(f"line {number} below the workshop's name", line)
        if len(self.lines) > _MOST:
            raise InputError(
                f"{len(self.lines)} lines below the workshop's name: at most {_MOST} of up to "
                f"{LONGEST} characters are printed. Join or leave out some."
            )

    def printed(self) -> tuple[str, ...]:
        """Return what is printed, the name first; nothing if there is none."""
        return tuple(Own(line.strip()) for line in (self.name, *self.lines) if line.strip())


NO_HEADING = Heading()
