"""What is wrong with a value of a document, in plain words with the way out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from difflib import get_close_matches
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

__all__ = ["FLOAT", "merged", "Path", "problem_of", "SHOWN"]

SHOWN = 40  # [characters] chosen: how much of a wrong value an error repeats
FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")

Path = tuple[str | int, ...]

_EXPECTED: Mapping[str, str] = {
    "bool": "true or false",
    "dataclass": "a mapping of names to values",
    "dict": "a mapping of names to values",
    "float": "a number",
    "frozen_set": "a list",
    "int": "a whole number",
    "list": "a list",
    "none_required": "nothing",
    "set": "a list",
    "string": "text",
    "tuple": "a list",
}


def _described(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return "the text " + repr(value if len(value) <= SHOWN else value[:SHOWN] + "…")
    if isinstance(value, int | float):
        return f"the number {value!r}"
    return "a list" if isinstance(value, list) else "a mapping"


def _way_out(expected: str, value: object) -> str:
    if expected == "text" and isinstance(value, int | float):
        return "; put it in quotes"
    if "number" in expected and isinstance(value, str):
        if re.fullmatch(r"[-+]?[0-9]+,[0-9]+", value):
            return "; write a decimal point"
        if FLOAT.fullmatch(value):
            return "; leave out the quotes"
    return ""


def problem_of(target: object, path: Path, value: object, detail: Mapping[str, Any]) -> str:
    """Return one finding of the validator in plain words."""
    kind: str = detail["type"]
    if kind == "unexpected_keyword_argument":
        known = sorted(_fields_at(target, path[:-1]))
        way_out = _nearest(str(path[-1]), known) or f" Known: {', '.join(known)}."
        return f"there is no field {path[-1]!r}.{way_out}"
    if kind in ("literal_error", "enum"):
        known = re.findall(r"'([^']*)'", detail["ctx"]["expected"])
        allowed = detail["ctx"]["expected"].replace("'", "")
        near = _nearest(value, known) if isinstance(value, str) else ""
        return f"expected {allowed}, found {_described(value)}{near and '.' + near}"
    if kind in ("value_error", "assertion_error"):
        return str(detail["ctx"]["error"])
    family = kind.removesuffix("_type").removesuffix("_parsing").removesuffix("_from_float")
    if family in _EXPECTED:
        expected = _EXPECTED[family]
        return f"expected {expected}, found {_described(value)}{_way_out(expected, value)}"
    return f"{detail['msg'].replace('Input should', 'must')}, found {_described(value)}"


def _nearest(given: str, known: list[str]) -> str:
    near = get_close_matches(given, known, n=1, cutoff=0.5)
    return f" Did you mean {near[0]!r}?" if near else ""


def merged(said: list[str]) -> str:
    """Return the findings for one place as one: each alternative is tried, so each complains."""
    split = [re.fullmatch(r"expected (.*), found (.*)", one, re.S) for one in said]
    if len(said) > 1 and all(split):
        wanted = dict.fromkeys(match[1] for match in split if match)
        return f"expected {' or '.join(wanted)}, found {split[0][2] if split[0] else ''}"
    return said[0]


def _flat(kind: object) -> Iterator[object]:
    """Yield a type's alternatives, without what is wrapped around them."""
    origin = get_origin(kind)
    if origin is Annotated:
        yield from _flat(get_args(kind)[0])
    elif origin in (Union, UnionType):
        for part in get_args(kind):
            yield from _flat(part)
    else:
        yield kind


def _inside(kind: object, step: str | int) -> Iterator[object]:
    """Yield the types that a part of `kind` may have."""
    for flat in _flat(kind):
        args = get_args(flat)
        if is_dataclass(flat):
            yield get_type_hints(flat).get(str(step), object)
        elif isinstance(step, int) and len(args) > step and args[-1] is not Ellipsis:
            yield args[step]
        elif args:
            yield args[0] if isinstance(step, int) else args[-1]


def _fields_at(target: object, path: Path) -> set[str]:
    """Return the names that the dataclass at `path` has; of all of them if there are several."""
    kinds = [target]
    for step in path:
        kinds = [inner for kind in kinds for inner in _inside(kind, step)]
    flat = [one for kind in kinds for one in _flat(kind)]
    return {item.name for one in flat if is_dataclass(one) for item in fields(one) if item.init}
