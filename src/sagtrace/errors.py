"""Every exception this package raises on purpose.

SagtraceError
  InputError (ValueError)        a caller passed something that cannot be right
    DomainError                  ...a number outside the range where it means something
    UnitError                    ...a text that is no quantity, or has the wrong kind of unit
    UnknownIdError               ...an id that nothing has; carries the nearest right ones
  DocumentError                  a file says something that cannot be right, at a line
  EvidenceError                  measurements that cannot be used as evidence
    ContradictionError           ...no hypothesis explains them together
  StoreError                     jobs cannot be kept or read where they are kept
    ChangedError                 ...somebody else changed the job meanwhile
  MissingPartError               an optional part of the installation is not there

The core raises; only the edges (cli, web) catch. A message says what, where,
what is allowed and the way out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches

__all__ = [
    "ChangedError",
    "ContradictionError",
    "DocumentError",
    "DomainError",
    "EvidenceError",
    "InputError",
    "MissingPartError",
    "SagtraceError",
    "StoreError",
    "UnitError",
    "UnknownIdError",
]


LISTED, SOME = 12, 6  # chosen: so many known ids are all named, and of more only some


class SagtraceError(Exception):
    """Root of everything that this package raises on purpose."""


class InputError(SagtraceError, ValueError):
    """A caller passed something that cannot be right."""


class DomainError(InputError):
    """A number is outside the range where it means something.

    >>> print(DomainError("p_start", -70000.0, "Pa", "above zero", "A gauge reading?"))
    p_start = -70000 Pa: must be above zero. A gauge reading?
    """

    def __init__(self, name: str, value: float, unit: str, rule: str, hint: str = "") -> None:
        # All fields go to super() so that the error survives pickling.
        super().__init__(name, value, unit, rule, hint)
        self.name, self.value, self.unit, self.rule, self.hint = name, value, unit, rule, hint

    def __str__(self) -> str:
        shown = f"{self.value:g} {self.unit}".rstrip()
        return f"{self.name} = {shown}: must be {self.rule}. {self.hint}".rstrip()


class UnitError(InputError):
    """A text that is no quantity, or whose unit does not fit.

    >>> print(UnitError("supply", "12 bar", "a voltage, for example 12.4 V"))
    supply = '12 bar': expected a voltage, for example 12.4 V.
    """

    def __init__(self, name: str, text: str, expected: str, hint: str = "") -> None:
        super().__init__(name, text, expected, hint)
        self.name, self.text, self.expected, self.hint = name, text, expected, hint

    def __str__(self) -> str:
        return f"{self.name} = {self.text!r}: expected {self.expected}. {self.hint}".rstrip()


class UnknownIdError(InputError):
    """An id that nothing has.

    >>> print(UnknownIdError("check", "soap.fiting", ["soap.fitting", "fuse.look"]))
    There is no check 'soap.fiting'. Did you mean 'soap.fitting'?
    """

    def __init__(self, kind: str, given: str, known: Iterable[str], hint: str = "") -> None:
        names = tuple(known)
        super().__init__(kind, given, names, hint)
        self.kind, self.given, self.known, self.hint = kind, given, names, hint

    @property
    def nearest(self) -> Sequence[str]:
        """The up to three known ids most like the given one, best first."""
        return get_close_matches(str(self.given), self.known, n=3, cutoff=0.5)

    def __str__(self) -> str:
        text = f"There is no {self.kind} {self.given!r}."
        if near := self.nearest:
            text += " Did you mean " + " or ".join(repr(name) for name in near) + "?"
        elif 0 < len(self.known) <= LISTED:
            text += " Known: " + ", ".join(sorted(self.known)) + "."
        elif self.known:
            text += f" Some of the {len(self.known)} known: " + ", ".join(self.known[:SOME]) + "."
        return f"{text} {self.hint}".rstrip()


class DocumentError(SagtraceError):
    """A file says something that cannot be right.

    >>> print(DocumentError("job.yaml", 12, "evidence[3].check", "there is no check 'soup'"))
    job.yaml, line 12, evidence[3].check: there is no check 'soup'
    """

    def __init__(self, file: str, line: int | None, field: str, problem: str) -> None:
        super().__init__(file, line, field, problem)
        self.file, self.line, self.field, self.problem = file, line, field, problem

    def __str__(self) -> str:
        where = [self.file]
        if self.line is not None:
            where.append(f"line {self.line}")
        if self.field:
            where.append(self.field)
        return f"{', '.join(where)}: {self.problem}"


class EvidenceError(SagtraceError):
    """Measurements that cannot be used as evidence."""


class ContradictionError(EvidenceError):
    """No hypothesis explains the evidence together."""


class StoreError(SagtraceError):
    """Jobs cannot be kept or read where they are kept; nothing that was kept is lost by it."""


class ChangedError(StoreError):
    """Somebody else changed the job meanwhile; nothing was kept. Look at it again."""


class MissingPartError(SagtraceError):
    """An optional part of the installation is not there; the message says how to get it."""
