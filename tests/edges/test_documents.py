"""A document is read whole, or refused at its line in words that say what was expected."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Annotated, Any, Literal

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sagtrace.adapters.documents import (
    MAX_CHARACTERS,
    json_schema,
    load_located,
    read_document,
    write_document,
)
from sagtrace.errors import DocumentError, DomainError, EvidenceError, InputError

YAML12 = "YAML Ain't Markup Language, version 1.2.2 (2021)"


class Side(Enum):
    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    height: float
    side: Side = Side.LEFT
    state: Literal["cold", "warm"] = "cold"
    count: int = 1

    def __post_init__(self) -> None:
        if self.height < 0.0:
            raise DomainError("height", self.height, "m", "above zero")
        if self.height == 0.0:
            raise EvidenceError("a height of nothing")


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    story: str
    readings: tuple[Reading, ...] = ()
    limits: Mapping[str, float] = field(default_factory=dict)
    mark: int | str | None = None
    extra: Reading | Note | None = None
    pair: tuple[int, str] | None = None
    by_name: dict[str, list[Annotated[Note, "a note"]]] = field(default_factory=dict)
    done: bool = False


GOOD = """\
# invented
story: "sits low"
readings:
  - height: 0.412
    side: right
  - {height: 1, state: warm}
limits: {drop: 2, rise: 3.5}
mark: 7
extra:
  text: "12"
pair: [1, b]
by_name:
  first: [{text: a}]
"""


def said(text: str, target: type[Any] = Job) -> str:
    with pytest.raises(DocumentError) as caught:
        read_document(text, "job.yaml", target)
    return str(caught.value)


def test_a_good_document() -> None:
    assert read_document(GOOD, "job.yaml", Job) == Job(
        story="sits low",
        readings=(Reading(height=0.412, side=Side.RIGHT), Reading(height=1.0, state="warm")),
        limits={"drop": 2.0, "rise": 3.5},
        mark=7,
        extra=Note(text="12"),
        pair=(1, "b"),
        by_name={"first": [Note(text="a")]},
    )


def test_lines() -> None:
    document = load_located(GOOD, "job.yaml")
    paths: dict[tuple[str | int, ...], int | None] = {
        (): 2,
        ("story",): 2,
        ("readings",): 3,
        ("readings", 0): 4,
        ("readings", 0, "side"): 5,
        ("readings", 1, "state"): 6,
        ("extra", "text"): 10,
        ("readings", 2): None,
        ("readings", "height"): None,
        ("story", 0): None,
    }
    assert {path: document.line(path) for path in paths} == paths


def test_a_later_error_finds_its_line() -> None:
    document = load_located(GOOD, "job.yaml")
    assert str(document.error(("readings", 0, "side"), "no such side")) == (
        "job.yaml, line 5, readings[0].side: no such side"
    )
    # A part that is not there is reported where it would stand.
    assert str(document.error(("extra", "when"), "is needed")) == (
        "job.yaml, line 9, extra.when: is needed"
    )


@pytest.mark.from_memory(f"{YAML12}, 10.3.2 (core schema)")
@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("null", None), ("~", None), ("", None), ("true", True), ("False", False),
        ("12", 12), ("-3", -3), ("0o14", 12), ("0x1F", 31), ("012", 12),
        ("1.5", 1.5), (".5", 0.5), ("1e3", 1000.0), ("+12e-1", 1.2), ("5.", 5.0),
        ("yes", "yes"), ("on", "on"), ("NO", "NO"), ("07:30", "07:30"), ("1_000", "1_000"),
        ("2020-01-01", "2020-01-01"), ("'12'", "12"), ('"\\u00e9"', "é"), ("1,5", "1,5"),
    ],
)  # fmt: skip
def test_core_schema(typed: str, meant: object) -> None:
    got = load_located(f"a: {typed}", "x").data["a"]
    assert (type(got), got) == (type(meant), meant)


S = "story: x\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        # Unknown, missing and doubled names
        ("stori: x", "line 1, stori: there is no field 'stori'. Did you mean 'story'?"),
        (
            f"{S}zzz: 1",
            "line 2, zzz: there is no field 'zzz'. "
            "Known: by_name, done, extra, limits, mark, pair, readings, story.",
        ),
        (
            f"{S}readings:\n  - height: 1\n    sid: left",
            "line 4, readings[0].sid: there is no field 'sid'. Did you mean 'side'?",
        ),
        (
            f"{S}by_name:\n  a:\n  - text: b\n    txt: c",
            "line 5, by_name.a[0].txt: there is no field 'txt'. Did you mean 'text'?",
        ),
        ("mark: 3\ndone: true", "line 1, story: this field is missing"),
        (
            f"{S}readings:\n  - height: 1\n  - side: left",
            "line 4, readings[1].height: this field is missing",
        ),
        (f"{S}pair: [1]", "line 2, pair[1]: this item is missing"),
        ("story: x\nstory: y", "line 2: 'story' is here twice, first on line 1"),
        (
            f"{S}limits:\n  a: 1\n  a: 2",
            "line 4, limits: 'a' is here twice, first on line 3",
        ),
        # Wrong types
        ("story: 3", "line 1, story: expected text, found the number 3; put it in quotes"),
        ("story: 1.5", "line 1, story: expected text, found the number 1.5; put it in quotes"),
        ("story: true", "line 1, story: expected text, found true; put it in quotes"),
        ("story:", "line 1, story: expected text, found nothing"),
        ("story: [a]", "line 1, story: expected text, found a list"),
        (f"{S}done: 1", "line 2, done: expected true or false, found the number 1"),
        (f"{S}done: yes", "line 2, done: expected true or false, found the text 'yes'"),
        (
            f"{S}limits:\n  a: 1\n  b: 1,5",
            "line 4, limits.b: expected a number, found the text '1,5'; write a decimal point",
        ),
        (
            f"{S}limits: {{a: '1'}}",
            "line 2, limits.a: expected a number, found the text '1'; leave out the quotes",
        ),
        (f"{S}limits: {{a: true}}", "line 2, limits.a: expected a number, found true"),
        (
            f"{S}limits: [1]",
            "line 2, limits: expected a mapping of names to values, found a list",
        ),
        (
            f"{S}readings: [{{height: 1, count: 1.5}}]",
            "line 2, readings[0].count: expected a whole number, found the number 1.5",
        ),
        (f"{S}readings: {{height: 1}}", "line 2, readings: expected a list, found a mapping"),
        (
            f"{S}readings: [3]",
            "line 2, readings[0]: expected a mapping of names to values, found the number 3",
        ),
        (f"{S}mark: []", "line 2, mark: expected a whole number or text, found a list"),
        ("[1]", "line 1: expected a mapping of names to values, found a list"),
        ("low", "line 1: expected a mapping of names to values, found the text 'low'"),
        (
            f"story: [{'a' * 60}]\n",
            "line 1, story: expected text, found a list",
        ),
        (
            f"{S}done: {'a' * 60}",
            f"line 2, done: expected true or false, found the text '{'a' * 40}…'",
        ),
        # Named values
        (
            f"{S}readings: [{{height: 1, side: lefft}}]",
            "line 2, readings[0].side: expected left or right, found the text 'lefft'. "
            "Did you mean 'left'?",
        ),
        (
            f"{S}readings: [{{height: 1, state: worm}}]",
            "line 2, readings[0].state: expected cold or warm, found the text 'worm'. "
            "Did you mean 'warm'?",
        ),
        (
            f"{S}readings: [{{height: 1, side: 3}}]",
            "line 2, readings[0].side: expected left or right, found the number 3",
        ),
        # What the dataclass itself refuses
        (
            f"{S}readings:\n- height: 1\n- height: -1",
            "line 4, readings[1]: height = -1 m: must be above zero.",
        ),
        (f"{S}readings: [{{height: 0}}]", "line 1: a height of nothing"),
        # Several at once: the first in the file speaks
        (
            "done: 1\nstory: 3\nmark: []",
            "line 1, done: expected true or false, found the number 1 (and 2 more)",
        ),
        # Numbers that are none
        (
            f"{S}limits: {{a: .nan}}",
            "line 2, limits.a: .nan is no number here; leave the field out instead",
        ),
        (
            f"{S}limits: {{a: -.inf}}",
            "line 2, limits.a: -.inf is no number here; leave the field out instead",
        ),
        (f"{S}mark: 1e999", "line 2, mark: 1e999 is too large a number"),
        (
            f"{S}mark: {'9' * 5000}",
            "line 2, mark: a number of 5000 characters; text must stand in quotes",
        ),
    ],
)
def test_what_does_not_fit(text: str, message: str) -> None:
    separator = " " if message.startswith("line") else ""
    assert said(text) == f"job.yaml,{separator}{message}"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", ": the file is empty"),
        ("# only a remark\n", ": the file is empty"),
        ("a: b\n\tc: 1", ", line 2: a tab stands here; use spaces"),
        ("a: `x`", ", line 1: text that begins with ` must stand in quotes"),
        ("a: @x", ", line 1: text that begins with @ must stand in quotes"),
        ("a: &", ", line 1: text that begins with & or * must stand in quotes"),
        ("a: > x", ", line 1: text that begins with > or | must stand in quotes"),
        (
            "a: b: c",
            ", line 1: a second colon or a wrong indent; text with a colon needs quotes",
        ),
        (
            "a: 1\n  b: 2",
            ", line 2: a second colon or a wrong indent; text with a colon needs quotes",
        ),
        (
            "a: 1\nb: [1,2\nc: 3\n",
            ", line 3: expected , or ] to go on with what opened on line 2",
        ),
        ("a: {b: 1", ", line 1: expected , or } to go on with what opened on line 1"),
        ("a: 1\nb: 'open\n\n", ", line 4: the quote that opened on line 2 is not closed"),
        ("a: 1\nb\nc: 2", ", line 3: expected a colon after the name"),
        (
            "a: 1\n- b",
            ", line 2: this cannot follow what began on line 1; see indent and quotes",
        ),
        ('a: "\\q"', ", line 1: expected a known escape after \\; or use single quotes"),
        ('a: 1\nb: "\\U99999999"', ", line 2: not YAML: a broken escape or directive"),
        ('a: "\\ud800"', ", line 1, a: half a character; escape it as one"),
        ("a: ]", ", line 1: expected a value here"),
        ("a: 1\n--- \nb: 2", ", line 2: a second document; a file holds one"),
        ("%YAML 1.1\n---\na: yes", ", line 2: directives (%) are not used here"),
        ("%YAML 3.0\n---\na: yes", ", line 1: expected YAML 1.2"),
        ("a: 1\nb: !there 3", ", line 2, b: the tag !there is not used here; leave it out"),
        (
            "a: !!python/name:x 3",
            ", line 1, a: the tag !!python/name:x is not used here; leave it out",
        ),
        ("a: [1, 2]\n? [1]\n: 3", ", line 2: a name must be text, not a list or a mapping"),
        ("a: 1\nb: \x00", ", line 2: a character that no text file should hold"),
        ("a: *b", ", line 1, a: *b has no &b above it; text with * needs quotes"),
        ("a: &b [1, *b]", ", line 1, a[1]: *b stands inside itself"),
        ("[" * 10_000, ", line 1: more than 40 levels deep"),
        ("- " * 10_000, ", line 1: more than 40 levels deep"),
        ("{a: " * 10_000, ", line 1: more than 40 levels deep"),
        (
            "x" * (MAX_CHARACTERS + 1),
            f": {MAX_CHARACTERS + 1} characters; at most {MAX_CHARACTERS} are read",
        ),
    ],
)
def test_what_is_no_document(text: str, message: str) -> None:
    with pytest.raises(DocumentError) as caught:
        load_located(text, "job.yaml")
    assert str(caught.value) == f"job.yaml{message}"


def test_an_alias_bomb_is_refused() -> None:
    """Nine to the twelfth values in twelve lines."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 12)]
    assert said("\n".join(lines)) == (
        "job.yaml, line 5, a4[0]: aliases repeat more than 10000 values"
    )


def test_an_honest_alias_is_read() -> None:
    document = load_located("a: &r {height: 1}\nb: [*r, *r]", "x")
    assert document.data == {"a": {"height": 1}, "b": [{"height": 1}, {"height": 1}]}
    assert document.line(("b", 1)) == 2


def test_byte_order_mark_and_line_ends() -> None:
    assert load_located("\ufeffa: 1\r\nb: 2\r\n", "x").data == {"a": 1, "b": 2}
    assert load_located("a: 1\r\nb: 2\r\n", "x").line(("b",)) == 2


TOKENS = [*"abx019:-[]{}&*!|>'\"%@`#?,.~\\\t\n ", "\n  ", "\n- ", ": ", "- ", "&a ", "*a", "---\n"]
TOKENS += ["story: ", "readings: ", "height: ", "0x", "1e9", "<<: ", "!!int ", "%YAML 1.1\n", "é"]


@settings(max_examples=400, deadline=None)
@given(st.text(max_size=200) | st.lists(st.sampled_from(TOKENS), max_size=40).map("".join))
@example("%TAG ! x\n--- a")
@example("%YAML 1.x\n--- a")
@example("&a *a")
@example("a: !<x")
@example("? ? ? a")
@example('"\\x')
@example("? *a\n: b")
def test_any_text_is_a_document_or_a_document_error(text: str) -> None:
    try:
        read_document(text, "job.yaml", Job)
    except DocumentError as err:
        message = str(err)
    else:
        message = "job.yaml"
    assert message.startswith("job.yaml")


@pytest.mark.parametrize("target", [int, dict[str, float], tuple[Note, ...], list[Reading]])
def test_the_target_may_be_a_container(target: type[Any]) -> None:
    assert said("a: {b: c}", target).startswith("job.yaml, line 1")


# Everything that JSON can say, YAML must carry; compared with the standard library's reader.
NUMBERS = st.integers() | st.floats(allow_nan=False, allow_infinity=False)
LOOKALIKES = st.sampled_from(["yes", "07:30", "1_0", "0o7", "~", "- a", "a: b", "1e9", ".5", "<<"])
TEXTS = st.text(max_size=20) | st.text("ab \n\x85-:#'\"", max_size=12) | LOOKALIKES
JSON = st.recursive(
    st.none() | st.booleans() | NUMBERS | TEXTS,
    lambda part: st.lists(part, max_size=4) | st.dictionaries(TEXTS, part, max_size=4),
    max_leaves=12,
)


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.text(max_size=9), JSON, max_size=4) | st.lists(JSON, max_size=4))
def test_written_is_read_back(data: Any) -> None:
    assert load_located(write_document(data), "x").data == data


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(st.text("abcé ", max_size=9), JSON, max_size=4))
def test_json_is_yaml(data: Any) -> None:
    text = json.dumps(data)
    assert load_located(text, "x").data == json.loads(text)


@pytest.mark.regression
def test_written_reads_well() -> None:
    data = {"z": "sits low, 5 °C", "a": [1, {"b": (0.5, None)}], "c": "12", "d": [], "e": "f\ng\n"}
    assert write_document(data) == (
        "z: sits low, 5 °C\na:\n  - 1\n  - b:\n      - 0.5\n      - null\nc: '12'\nd: []\n"
        "e: |\n  f\n  g\n"
    )


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"a": [math.nan]}, "data.a[0]: nan cannot be written; leave the field out instead."),
        ({"a": {1: 2}}, "data.a: a name in a document must be text."),
        ({"a": Side.LEFT}, "data.a: Side is not plain data."),
    ],
)
def test_what_cannot_be_written(data: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError) as caught:
        write_document(data)
    assert str(caught.value) == message


def test_a_ring_cannot_be_written() -> None:
    ring: list[Any] = []
    ring.append(ring)
    with pytest.raises(InputError, match="more than 40 levels deep"):
        write_document(ring)


def test_schema_forbids_what_the_reader_forbids() -> None:
    schema = json_schema(Job)
    for name in ("Job", "Reading", "Note"):
        assert schema["$defs"][name]["additionalProperties"] is False
    assert schema["$ref"] == "#/$defs/Job"
    assert schema["$defs"]["Reading"]["required"] == ["height"]
    assert schema["$defs"]["Side"]["enum"] == ["left", "right"]
