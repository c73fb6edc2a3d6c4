"""Every page in a language that is none: what shows without brackets was in no catalogue.

Two nets over what stands outside of brackets. No message of the catalogue may be among it, unless
the layers below web/ say the same, whose sentences are English by design: that is a text which was
marked and never looked up. And each of its words must be known below web/ or in what people typed.
A text that was never marked, and is made of words that the knowledge uses too, passes here;
test_marked_texts.py looks for those in the source.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from local import client_of

from every_page import LOOKS, TABLE, Look, desk_of_everything
from pseudo import LANGUAGE, OPEN, SHUT, messages, write_pseudo
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Query
from sagtrace.signals.trace import ROLES
from sagtrace.web.catalogues import read_catalogues

SRC = Path(__file__).parents[2] / "src" / "sagtrace"
SPOKEN = (
    "alt", "aria-label", "aria-description", "data-busy", "data-head", "data-what", "label",
    "placeholder", "title",
)  # fmt: skip
SILENT = ("script", "style")
WORD = re.compile(r"(?<!\w)[^\W\d_]{2,}(?!\w)")  # no part of a number or digest
PLACE = re.compile(r"%\(\w+\)s")
# Ids of channels, told as words.
ROLES_SAID = {role.partition(".")[0].capitalize() for role in ROLES}
DAY = re.compile(r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun), [A-Z][a-z]{2} \d+(, \d{4})?, \d\d:\d\d")
# The same in every language: the program, addresses, units of size, the name of the language, and
# what an error below the pages is told to call what nothing is known by.
SAME = {"calculator", "sagtrace", "utc", "http", "kb", "mb", "csv", LANGUAGE.lower()}


class Shown(HTMLParser):
    """What a page shows or speaks outside of brackets, a text a place."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.bare: list[str] = []
        self.inside = 0  # brackets, which a drawing may break over lines
        self.silent = 0
        self.forms: dict[str, dict[str, str]] = {}
        self.actions: dict[str, str] = {}
        self.form = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.silent += tag in SILENT
        for name in SPOKEN:
            before, self.inside = self.inside, 0
            self.take(given.get(name, ""))
            assert self.inside == 0, f"a bracket is open in {given[name]!r}"
            self.inside = before
        if tag == "form":
            self.form = given.get("id", "")
            self.forms[self.form], self.actions[self.form] = {}, given.get("action", "")
        elif tag == "input" and self.form and given.get("type") not in ("checkbox", "radio"):
            self.forms[self.form][given.get("name", "")] = given.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in SILENT

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.take(data)

    def take(self, text: str) -> None:
        for part in re.split(f"([{OPEN}{SHUT}])", text):
            if part in (OPEN, SHUT):
                self.inside += 1 if part == OPEN else -1
            elif not self.inside and part.strip():
                self.bare.append(" ".join(part.split()))


def words_of(text: str) -> set[str]:
    return {word.lower() for word in WORD.findall(text)}


def literals(path: Path) -> Iterator[str]:
    """Yield the texts of a module, without what documents it."""
    tree = ast.parse(path.read_text())
    about = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and "__all__" in ast.unparse(node.targets[0]):
            about |= {id(part) for part in ast.walk(node)}  # names, which nobody is told
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in about:
            yield node.value


@dataclass(frozen=True, kw_only=True)
class Below:
    """What the layers below the pages say, and what people typed in the jobs that are walked."""

    text: str
    literals: frozenset[str]
    words: frozenset[str]

    def says(self, part: str) -> bool:
        """Return whether a part of a message is said there: a short one by itself alone."""
        return part in self.literals or (len(WORD.findall(part)) > 2 and part in self.text)


@pytest.fixture(scope="module")
def desk() -> Desk:
    return desk_of_everything()


@pytest.fixture(scope="module")
def below(desk: Desk) -> Below:
    modules = [p for p in SRC.rglob("*.py") if "web" not in p.relative_to(SRC).parts]
    said = [" ".join(text.split()) for path in modules for text in literals(path)]
    known = [" ".join(path.read_text().split()) for path in SRC.rglob("*.yaml")]
    typed = [repr(desk.open(line.id).job) for line in desk.jobs(Query(limit=200)).lines]
    text = "\n".join([*said, *known, *typed, TABLE.decode(), *SAME])
    return Below(
        text=text,
        words=frozenset(words_of(text)),
        literals=frozenset(map(bared, said)) | ROLES_SAID,
    )


def bared(text: str) -> str:
    return text.strip(" .,;:()")


@dataclass(frozen=True, kw_only=True)
class Net:
    """What may not stand outside of brackets."""

    below: Below
    shapes: tuple[re.Pattern[str], ...]  # of messages with what is put in
    parts: tuple[str, ...]  # of three words and more, wherever they stand

    def caught(self, shown: Shown, typed: str = "") -> list[str]:
        """Return the texts outside of brackets that must have been inside."""
        known = self.below.words | words_of(typed)
        return [
            text
            for text in (DAY.sub("", bare) for bare in shown.bare)
            if words_of(text) - known
            or any(part in text for part in self.parts)
            or (not self.below.says(bared(text)) and any(s.fullmatch(text) for s in self.shapes))
        ]


@pytest.fixture(scope="module")
def net(below: Below) -> Net:
    shapes, inner = [], []
    for message in messages():
        parts = [part for part in map(bared, PLACE.split(message)) if WORD.search(part)]
        own = [part for part in parts if not below.says(part)]
        inner += [part.replace("%%", "%") for part in own if len(WORD.findall(part)) > 2]
        # A short text around something that may be long is in too much of what is said.
        counted = set(PLACE.findall(message)) <= {"%(num)s"}
        if own and (counted or len(WORD.findall(" ".join(parts))) > 2):
            shape = re.escape(message).replace(re.escape("%(num)s"), r"\d+").replace("%%", "%")
            shapes.append(re.compile(re.sub(r"%\\\(\w+\\\)s", ".+", shape)))
    return Net(below=below, shapes=tuple(shapes), parts=tuple(inner))


@pytest.fixture(scope="module")
def pseudo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_pseudo(tmp_path_factory.mktemp("locale"))


def asking(desk: Desk, folder: Path) -> TestClient:
    client = client_of(desk, read_catalogues(folder))
    client.headers["Accept-Language"] = "en-XA,en;q=0.5"
    return client


@pytest.fixture(scope="module")
def client(desk: Desk, pseudo: Path) -> Iterator[TestClient]:
    with asking(desk, pseudo) as found:
        yield found


@pytest.fixture(scope="module")
def sent(client: TestClient) -> str:
    answer = client.post(
        "/api/v1/jobs/fresh/recordings/inspect?file=drive.csv",
        content=TABLE, headers={"Content-Type": "application/octet-stream"},
    )  # fmt: skip
    return str(answer.json()["sha256"])


def page_of(client: TestClient, look: Look, sent: str) -> str:
    answer = client.get(look.path.format(sent=sent))
    while "recording-wait" in answer.text or "data-task" in answer.text:
        answer = client.get(look.path.format(sent=sent))
    if look.refused:
        form = Shown(answer.text)
        answer = client.post(form.actions[look.refused], data=form.forms[look.refused])
    assert answer.status_code == look.status
    return answer.text


@pytest.mark.parametrize("look", LOOKS, ids=lambda look: look.name)
def test_every_text_is_looked_up(client: TestClient, sent: str, net: Net, look: Look) -> None:
    page = page_of(client, look, sent)
    assert '<html lang="en-XA"' in page
    shown = Shown(page)
    assert shown.inside == 0
    assert net.caught(shown, look.path) == []


@pytest.mark.parametrize(
    ("message", "path"),
    [
        ("Who works at this device", "/settings"),
        ("Settings", "/settings"),  # a title
        ("Entries that were not kept", "/"),  # spoken
        ("A hold to be read", "/"),  # of a view
        ("Measure", "/jobs/demo/checks"),  # marked, and looked up later
        ("%(num)s sample, on average %(step)s s apart", "/jobs/demo/recordings/r1"),  # by number
    ],
)
def test_the_walk_would_notice(
    tmp_path: Path, desk: Desk, net: Net, message: str, path: str
) -> None:
    with asking(desk, write_pseudo(tmp_path, without=message)) as client:
        shown = Shown(page_of(client, Look(name=message, path=path), ""))
    assert net.caught(shown) != []
