"""YAML in and out, with every error at its line and in plain words.

Reads YAML 1.2 (core schema) into plain data that remembers its lines, and from there into a tree of
plain dataclasses. Assumes one document a file, names as keys; anchors work, within a limit.
Stricter than YAML: no tags, no directives, no duplicate names, no unknown fields, no number where
text is wanted, nothing infinite or NaN. A date or a time of day is text.
Limits: `MAX_CHARACTERS`, `MAX_DEPTH`, `MAX_REPEATED`. The parser takes about 7 s a megabyte.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from io import StringIO
from typing import Any, TypeVar, cast

from pydantic import ConfigDict, TypeAdapter, ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.nodes import ScalarNode
from ruamel.yaml.reader import ReaderError
from ruamel.yaml.representer import RoundTripRepresenter

from sagtrace.adapters.mistakes import FLOAT, SHOWN, Path, merged, problem_of
from sagtrace.errors import DocumentError, InputError, SagtraceError

__all__ = ["json_schema", "load_located", "LocatedDocument", "read_document", "write_document"]

MAX_CHARACTERS = 2_000_000  # [-] chosen: a hundred times the longest honest document
MAX_DEPTH = 40  # [-] chosen: four times the deepest honest document
MAX_REPEATED = 10_000  # [values] chosen: what aliases may add; an alias bomb adds millions
MAX_DIGITS = 300  # [-] chosen: about as many as a float has room for

T = TypeVar("T")

# The parser's own errors, and what else escapes from it on broken escapes and directives.
_PARSER_ERRORS = (
    YAMLError, ArithmeticError, AssertionError, AttributeError, LookupError,
    NotImplementedError, RecursionError, TypeError, ValueError, Warning,
)  # fmt: skip

_INTEGER = re.compile(r"[-+]?[0-9]+")
_BASED = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_WORDS: Mapping[str, object] = (
    dict.fromkeys(("", "~", "null", "Null", "NULL"))
    | dict.fromkeys(("true", "True", "TRUE"), True)
    | dict.fromkeys(("false", "False", "FALSE"), False)
)

# What the parser says -> what a person can act on; {line} is where the broken thing began.
_PLAIN_WORDS: tuple[tuple[str, str], ...] = (
    (r"character '\\t'", "a tab stands here; use spaces"),
    (r"character '(.)' that cannot", "text that begins with {0} must stand in quotes"),
    (r"expected alphabetic", "text that begins with & or * must stand in quotes"),
    (r"comment or a line break", "text that begins with > or | must stand in quotes"),
    (r"mapping values are", "a second colon or a wrong indent; text with a colon needs quotes"),
    (r"expected ',' or '([\]}])'", "expected , or {0} to go on with what opened on line {line}"),
    (r"unexpected end of stream", "the quote that opened on line {line} is not closed"),
    (r"could not find expected ':'", "expected a colon after the name"),
    (
        r"expected <block end>",
        "this cannot follow what began on line {line}; see indent and quotes",
    ),
    (r"unknown escape character", "expected a known escape after \\; or use single quotes"),
    (r"expected the node content", "expected a value here"),
    (r"document start", "expected the end of the document"),
    (r"incompatible YAML document", "expected YAML 1.2"),
)


def _syntax_error(source: str, text: str, err: BaseException, reached: int) -> DocumentError:
    """Return the parser's complaint in plain words, at its line or the one `reached` before it."""
    if isinstance(err, ReaderError):
        line = text.count("\n", 0, err.position) + 1
        return DocumentError(source, line, "", "a character that no text file should hold")
    mark = getattr(err, "problem_mark", None)
    began = getattr(err, "context_mark", None) or mark
    line = reached if mark is None else mark.line + 1
    problem = str(getattr(err, "problem", None) or "a broken escape or directive")
    for pattern, plain in _PLAIN_WORDS:
        if match := re.search(pattern, problem):
            start = line if began is None else began.line + 1
            return DocumentError(source, line, "", plain.format(*match.groups(), line=start))
    return DocumentError(source, line, "", f"not YAML: {problem}")


def _events(source: str, text: str) -> Iterator[Event]:
    stream = YAML(typ="safe", pure=True).parse(text)
    reached = 1
    while True:
        try:
            event = next(stream)
        except StopIteration:
            return
        except _PARSER_ERRORS as err:
            raise _syntax_error(source, text, err, reached) from err
        reached = event.end_mark.line + 1
        yield event


def _scalar(value: str, plain: bool) -> tuple[object, str]:
    """Return the value that a scalar stands for, and what is wrong with it ("" if nothing)."""
    try:
        # JSON escapes a character beyond U+FFFF as two halves.
        value = value.encode("utf-16", "surrogatepass").decode("utf-16")
    except UnicodeDecodeError:
        return value, "half a character; escape it as one"
    if not plain:
        return value, ""
    if value in _WORDS:
        return _WORDS[value], ""
    if _NOT_FINITE.fullmatch(value):
        return value, f"{value} is no number here; leave the field out instead"
    if _BASED.fullmatch(value) or FLOAT.fullmatch(value):
        if len(value) > MAX_DIGITS:
            return value, f"a number of {len(value)} characters; text must stand in quotes"
        if _BASED.fullmatch(value):
            return int(value, 0), ""
        if _INTEGER.fullmatch(value):
            return int(value), ""
        number = float(value)
        return number, "" if math.isfinite(number) else f"{value} is too large a number"
    return value, ""


@dataclass(slots=True)
class _Node:
    """A value being built: what it is, where each part began, and how many values it holds."""

    data: Any
    line: int
    size: int = 1
    parts: dict[str | int, _Node] = field(default_factory=dict)
    key: str | None = None  # the name that waits for its value
    key_line: int = 0
    anchor: str | None = None


class _Builder:
    """Builds nodes from events without recursion, so that depth is ours to limit."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.root: _Node | None = None
        self.open: list[_Node] = []
        self.anchors: dict[str, _Node | None] = {}
        self.repeated = 0

    def refuse(self, line: int, problem: str) -> DocumentError:
        steps = [self._step(node) for node in self.open]
        path = _dotted([step for step in steps if step is not None])
        return DocumentError(self.source, line, path, problem)

    @staticmethod
    def _step(node: _Node) -> str | int | None:
        return len(node.data) if isinstance(node.data, list) else node.key

    def take(self, event: Event) -> None:
        line = event.start_mark.line + 1
        if isinstance(event, DocumentStartEvent):
            if self.root is not None:
                raise DocumentError(self.source, line, "", "a second document; a file holds one")
            if event.version or event.tags:
                raise DocumentError(self.source, line, "", "directives (%) are not used here")
        elif isinstance(event, AliasEvent):
            self.add(self.alias(str(event.anchor), line), line)
        elif isinstance(event, ScalarEvent):
            self.refuse_tag(event, line)
            self.scalar(event, line)
        elif isinstance(event, MappingStartEvent | SequenceStartEvent):
            self.refuse_tag(event, line)
            self.start([] if isinstance(event, SequenceStartEvent) else {}, event.anchor, line)
        elif isinstance(event, MappingEndEvent | SequenceEndEvent):
            node = self.open.pop()
            self.anchor(node.anchor, node)
            self.add(node, node.line)

    def refuse_tag(
        self, event: ScalarEvent | MappingStartEvent | SequenceStartEvent, line: int
    ) -> None:
        if event.tag not in (None, "!"):
            shown = str(event.tag).replace("tag:yaml.org,2002:", "!!")[:SHOWN]
            raise self.refuse(line, f"the tag {shown} is not used here; leave it out")

    def anchor(self, name: str | None, node: _Node | None) -> None:
        if name is not None:
            self.anchors[name] = node

    def alias(self, name: str, line: int) -> _Node:
        if name not in self.anchors:
            raise self.refuse(line, f"*{name} has no &{name} above it; text with * needs quotes")
        node = self.anchors[name]
        if node is None:
            raise self.refuse(line, f"*{name} stands inside itself")
        self.repeated += node.size
        if self.repeated > MAX_REPEATED:
            raise self.refuse(line, f"aliases repeat more than {MAX_REPEATED} values")
        return node

    def start(self, data: Any, anchor: str | None, line: int) -> None:
        if len(self.open) >= MAX_DEPTH:
            problem = f"more than {MAX_DEPTH} levels deep"
            raise DocumentError(self.source, line, "", problem)
        if self.wants_key():
            raise self.refuse(line, "a name must be text, not a list or a mapping")
        self.anchor(anchor, None)
        self.open.append(_Node(data, line, anchor=anchor))

    def wants_key(self) -> bool:
        inner = self.open[-1] if self.open else None
        return inner is not None and isinstance(inner.data, dict) and inner.key is None

    def scalar(self, event: ScalarEvent, line: int) -> None:
        plain = event.style is None and event.tag is None
        is_key = self.wants_key()
        value, problem = _scalar(event.value, plain and not is_key)
        if problem:
            raise self.refuse(line, problem)
        node = _Node(value, line)
        self.anchor(event.anchor, node)
        self.add(node, line)

    def add(self, node: _Node, line: int) -> None:
        """Put a finished value, or the name of one, where it belongs."""
        if not self.open:
            self.root = node
            return
        parent = self.open[-1]
        if self.wants_key():
            if not isinstance(node.data, str):
                raise self.refuse(line, "a name must be text, not a list or a mapping")
            if node.data in parent.parts:
                first = parent.parts[node.data].line
                raise self.refuse(line, f"{node.data!r} is here twice, first on line {first}")
            parent.key, parent.key_line = node.data, line
            return
        step: str | int
        if isinstance(parent.data, list):
            step = len(parent.data)
            parent.data.append(node.data)
        else:
            step, parent.key = cast(str, parent.key), None
            parent.data[step] = node.data
            line = parent.key_line
        parent.parts[step] = _Node(node.data, line, node.size, node.parts)
        parent.size += node.size


def _dotted(path: Path | list[str | int]) -> str:
    """Return a path as people write it, for example evidence[3].check."""
    text = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return text.removeprefix(".")


@dataclass(frozen=True, slots=True, kw_only=True)
class LocatedDocument:
    """Plain data from a document, with the line on which each part of it begins."""

    source: str
    data: Any  # dict, list, str, int, float, bool or None, nested
    root: _Node = field(repr=False)

    def line(self, path: Path) -> int | None:
        """Return the line (from 1) where the part at `path` begins, or None if there is none."""
        node = self.root
        for step in path:
            if step not in node.parts:
                return None
            node = node.parts[step]
        return node.line

    def error(self, path: Path, problem: str) -> DocumentError:
        """Return an error at `path`, on its line or on that of the nearest part around it."""
        around = (self.line(path[:end]) for end in range(len(path), -1, -1))
        line = next((line for line in around if line is not None), None)
        return DocumentError(self.source, line, _dotted(path), problem)

    def into(self, target: type[T]) -> T:
        """Return the data as `target`, a dataclass (or a container of them), checked throughout.

        Raises
        ------
        DocumentError
            The first thing in the file that does not fit, and how many more there are.

        """
        try:
            (made,) = _adapter(cast(Hashable, target)).validate_json(json.dumps([self.data]))
        except ValidationError as err:
            raise self._first(target, err) from err
        except SagtraceError as err:
            raise self.error((), str(err)) from err
        return cast(T, made)

    def _first(self, target: type[T], err: ValidationError) -> DocumentError:
        found: dict[Path, list[str]] = {}
        for detail in err.errors(include_url=False):
            path, problem = self._locate(detail["loc"][1:], detail["type"])
            value = self._at(path)
            text = problem or problem_of(target, path, value, cast(Mapping[str, Any], detail))
            found.setdefault(path, []).append(text)
        for path, said in tuple(found.items()):
            # A misspelt field is missing too, but is one mistake.
            if meant := re.search(r"^there is no field .* Did you mean '(.*)'\?$", said[0]):
                found.pop((*path[:-1], meant[1]), None)
        located = [self.error(path, merged(said)) for path, said in found.items()]
        first = min(located, key=lambda error: error.line or 0)
        more = f" (and {len(located) - 1} more)" if len(located) > 1 else ""
        return DocumentError(first.file, first.line, first.field, first.problem + more)

    def _locate(self, loc: Path, kind: str) -> tuple[Path, str]:
        """Return the path in the data, without the validator's own steps, and what is missing."""
        path: list[str | int] = []
        node = self.root
        for step in loc:
            if step in node.parts:
                path.append(step)
                node = node.parts[step]
        if kind == "missing":
            what = "field" if isinstance(loc[-1], str) else "item"
            return (*path, loc[-1]), f"this {what} is missing"
        return tuple(path), ""

    def _at(self, path: Path) -> object:
        node = self.root
        for step in path:
            if step not in node.parts:
                return None
            node = node.parts[step]
        return node.data


@cache
def _adapter(target: Hashable) -> TypeAdapter[list[Any]]:
    # A list around the target, because a configuration given for a dataclass itself is refused,
    # while from a container it reaches every dataclass inside.
    config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)
    return TypeAdapter(cast(Any, list)[target], config=config)


def load_located(text: str, source: str, most: int = MAX_CHARACTERS) -> LocatedDocument:
    r"""Return the plain data of a YAML text, with its lines.

    Parameters
    ----------
    text : str
        YAML 1.2, one document [-]
    source : str
        What errors call the file [-]
    most : int
        Characters that are read at most [-]

    Raises
    ------
    DocumentError
        The text is no YAML, is empty, or uses what this package does not allow.

    Examples
    --------
    >>> document = load_located("story: low\nheights: [412, 398]", "job.yaml")
    >>> document.data, document.line(("heights", 1))
    ({'story': 'low', 'heights': [412, 398]}, 2)

    """
    if len(text) > most:
        problem = f"{len(text)} characters; at most {most} are read"
        raise DocumentError(source, None, "", problem)
    builder = _Builder(source)
    for event in _events(source, text.removeprefix("\ufeff")):
        builder.take(event)
    if builder.root is None:
        raise DocumentError(source, None, "", "the file is empty")
    return LocatedDocument(source=source, data=builder.root.data, root=builder.root)


def read_document(text: str, source: str, target: type[T]) -> T:
    r"""Return a YAML text as `target`, a dataclass whose fields are checked throughout.

    Parameters
    ----------
    text : str
        YAML 1.2, one document, at most `MAX_CHARACTERS` [-]
    source : str
        What errors call the file [-]
    target : type
        A dataclass, or a container of them [-]

    Raises
    ------
    DocumentError
        The first thing in the file that cannot be right, and how many more there are.

    Examples
    --------
    >>> read_document("left: 0.412\nright: 0.398", "job.yaml", dict[str, float])
    {'left': 0.412, 'right': 0.398}

    """
    return load_located(text, source).into(target)


def _plain(value: object, name: str, depth: int = 0) -> object:
    """Return a copy that reads back as it was written, or refuse."""
    if depth > MAX_DEPTH:
        raise InputError(f"{name}: more than {MAX_DEPTH} levels deep.")
    if isinstance(value, Mapping):
        if not all(type(key) is str for key in value):
            raise InputError(f"{name}: a name in a document must be text.")
        return {key: _plain(part, f"{name}.{key}", depth + 1) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part, f"{name}[{place}]", depth + 1) for place, part in enumerate(value)]
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(f"{name}: {value} cannot be written; leave the field out instead.")
    if value is None or type(value) in (bool, int, float, str):
        return value
    raise InputError(f"{name}: {type(value).__name__} is not plain data.")


class _Representer(RoundTripRepresenter):
    """Repeats instead of aliasing; keeps lines of text as lines; escapes what cannot be seen."""

    def ignore_aliases(self, data: object) -> bool:
        return True

    def text(self, data: str) -> ScalarNode:
        lines = data.split("\n")
        seen = all(line.isprintable() and line == line.strip() for line in lines)
        style = None if data.isprintable() else "|" if seen and lines[0] else '"'
        return self.represent_scalar("tag:yaml.org,2002:str", data, style=style)


_Representer.add_representer(str, _Representer.text)


def write_document(data: Mapping[str, Any] | list[Any]) -> str:
    """Return plain data as readable YAML that `load_located` reads back as it was.

    One entry a line, order and Unicode kept.

    Parameters
    ----------
    data : mapping or list
        Of dict, list, tuple, str, int, float, bool and None, nested [-]

    Raises
    ------
    InputError
        Something in it is not plain data, or is not finite.

    Examples
    --------
    >>> print(write_document({"story": "sits low", "heights": [412, 398]}), end="")
    story: sits low
    heights:
      - 412
      - 398

    """
    yaml = YAML(typ="rt", pure=True)
    yaml.Representer = _Representer
    yaml.allow_unicode = True
    yaml.default_flow_style = False
    yaml.width = MAX_CHARACTERS  # because a folded line is harder to find again
    yaml.indent(mapping=2, sequence=4, offset=2)
    out = StringIO()
    yaml.dump(_plain(data, "data"), out)
    return out.getvalue()


def json_schema(target: Hashable) -> dict[str, Any]:
    """Return the JSON schema (2020-12) of what `read_document` accepts as `target`."""
    around = _adapter(target).json_schema()
    definitions = {"$defs": around["$defs"]} if "$defs" in around else {}
    return {**around["items"], **definitions}
