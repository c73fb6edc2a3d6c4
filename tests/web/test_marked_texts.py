"""Every text in the Python and the scripts of the pages is marked for the catalogue.

Looked for in the source: a constant of two words, or of one with a capital, and any word in an
f-string, must stand in `_()`, `later()` or `ngettext()`. It does not see a text of one small word
(`"none"`), nor one that is put together from such; test_pseudo_language.py sees those that are in
the catalogue. The templates are looked at by test_template_words.py.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from pseudo import messages
from sagtrace.web.catalogues import LOCALE
from sagtrace.web.words import _ as looked_up

WEB = LOCALE.parent
MARKS = ("_", "later", "ngettext")
TEXT = re.compile(r"[A-Za-z]{2,}[,;:]? [A-Za-z]{2,}|^[A-Z][a-z]{2,}\b")
# In an f-string: a word between spaces or ends, that is no part of an address, a name or a number.
IN_TEXT = re.compile(r"(?:^|[ (,;:])[A-Za-z]{2,}(?=$|[ ,;:.)])")
UNITS = re.compile(r"\b(min|mm|MB|kB|UTC|px)\b")
MODULES = sorted([*WEB.glob("*.py"), *WEB.glob("views/*.py"), *WEB.glob("pages/*.py")])
SCRIPTS = sorted(WEB.glob("static/*.js"))

# For programs, logs, the terminal or the record, which stay English; by file.
KEPT = {
    "acts.py": ("give up", "vehicle data"),
    "app.py": ("Why a vehicle on air suspension rides low: evidence in, proved repair out.",),
    "bodies.py": None,  # what a body may hold, for programs
    "catalogues.py": None,  # read at the start, told at the terminal
    "guard.py": (
        "Bad Request", " is said twice.", "Forbidden",
        "Content-Length and Transfer-Encoding are said together; send one of them.",
    ),
    "asking.py": (
        "send the content as it is, without a Content-Encoding.", "the content has ", "the type ",
        "no type", "; send ", ': expected ETags such as "3", or *.', "Accept", "Cache-Control",
    ),
    "problems.py": (
        "Not Found", "There was an error parsing the body", "begun check that waits",
        "file of this job", "Method Not Allowed", "Error", "Allow", "defect at %s %s",
        "the body is no JSON: ", " (character ", "Defect",
        "A defect of the program; what was shown as saved is saved.",
    ),
    "plotted.py": ("from = ", ", to = "),  # the names of what was asked for
    "readings.py": (
        "no time column", "attach ", ", such as \\1",
        ",? for example (--role '[^']*',? ?)+(, or leave one out: --role '[^']*')?",
    ),
    "serving.py": None,  # at the terminal
    "tasks.py": ("defect in task %s", "task of this job"),
    "told.py": ("values.", "vehicle."),
    "uploads.py": ("sent file",),
    "words.py": ("English",),
    "views/intervals.py": ("at most",),
    "views/recordings.py": (
        "it holds text", "it is empty", "tells the time", "it tells the time once more",
    ),
    "pages/checks.py": ("answer to this check",),
    "pages/papers.py": ("Content-Disposition", "Cache-Control"),
    "pages/page.py": ("Cache-Control", "Vary", '<span translate="no">'),
    "pages/recordings.py": ("recording ",),
}  # fmt: skip


def bare(node: ast.AST, *, formed: bool = False) -> Iterator[str]:
    """Yield the texts of a tree that stand in no mark."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        found = IN_TEXT.search(UNITS.sub("", node.value)) if formed else TEXT.search(node.value)
        if found:
            yield node.value
    for name, value in ast.iter_fields(node):
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or name in ("annotation", "returns"):
                continue
            if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
                continue  # what documents it
            if isinstance(child, ast.Assign) and "__all__" in ast.unparse(child.targets[0]):
                continue
            if name == "args" and is_mark(node) and child in marked(node):
                continue
            yield from bare(child, formed=isinstance(node, ast.JoinedStr))


def is_mark(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in MARKS


def marked(node: ast.AST) -> Sequence[ast.expr]:
    assert isinstance(node, ast.Call)
    assert isinstance(node.func, ast.Name)
    return node.args[: 2 if node.func.id == "ngettext" else 1]


def in_marks(tree: ast.AST) -> Iterator[ast.expr]:
    for node in ast.walk(tree):
        if is_mark(node):
            yield from marked(node)


@pytest.fixture(scope="module")
def catalogue() -> set[str]:
    return set(messages())


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(WEB).as_posix())
def test_no_text_is_bare(path: Path) -> None:
    kept = KEPT.get(path.relative_to(WEB).as_posix(), ())
    if kept is None:
        return
    found = list(bare(ast.parse(path.read_text())))
    assert [text for text in found if text not in kept] == []
    assert [text for text in kept if text not in found] == [], "no longer there"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(WEB).as_posix())
def test_what_is_marked_is_in_the_catalogue(path: Path, catalogue: set[str]) -> None:
    for text in in_marks(ast.parse(path.read_text())):
        if isinstance(text, ast.Constant):
            assert text.value in catalogue
        else:  # marked by `later` where it is written
            assert isinstance(text, ast.Subscript | ast.Name | ast.Call), ast.unparse(text)


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ('x = "Two words"', ["Two words"]),
        ('x = "Word"', ["Word"]),
        ('x = _("Two words")', []),
        ('x = _("%(a)s fine", a="Not fine")', ["Not fine"]),
        ('x = ngettext("one of it", "many of it", n, a="and this")', ["and this"]),
        ('x = f"{n} wait"', [" wait"]),
        ('x = f"{n:.0f} min, {m} mm"', []),
        ('x = f"/jobs/{job}/line?part={part}"', []),
        ('def f():\n    "A docstring."\n    return {"id": "Left over"}', ["Left over"]),
    ],
)
def test_bare_text_is_found(source: str, found: list[str]) -> None:
    assert list(bare(ast.parse(source))) == found


# --- scripts


PUT_IN = "\ufffc"
IN_TEMPLATE = re.compile(rf"(?:^|[ {PUT_IN}])[A-Za-z]{{2,}}(?=$|[ .,:;])")
QUIET = re.compile(
    r"""//[^\n]*|/\*.*?\*/|(?<=[=(,:!&|?])\s*/(?:[^/\\\n\[]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/""",
    re.DOTALL,
)  # comments and regular expressions
QUOTED = re.compile(r"""("(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*')""")
CALLED = re.compile(r"(\w*)\($")


def texts_of(source: str, found: list[tuple[str, str]], at: int = 0) -> int:
    """Collect texts with the call that they stand in, up to the brace that closes; return where."""
    calls, braces = [""], 0
    while at < len(source):
        if quiet := QUIET.match(source, at):
            at = quiet.end()
            continue
        if quoted := QUOTED.match(source, at):
            found.append((quoted[0][1:-1], calls[-1]))
            at = quoted.end()
            continue
        letter = source[at]
        at += 1
        if letter == "`":
            at = template_of(source, found, at)
        elif letter == "(":
            called = CALLED.search(source[max(0, at - 40) : at])
            calls.append(called[1] if called else "")
        elif letter == ")":
            calls.pop()
        elif letter == "{":
            braces += 1
        elif letter == "}" and (braces := braces - 1) < 0:
            return at
    return at


def template_of(source: str, found: list[tuple[str, str]], at: int) -> int:
    text = ""
    while source[at] != "`":
        if source.startswith("${", at):
            at = texts_of(source, found, at + 2)
            text += PUT_IN
        else:
            text += source[at]
            at += 1
    found.append((text, "`"))
    return at + 1


def unmarked(source: str) -> Iterator[str]:
    """Yield the texts of a script that are no argument of a mark."""
    found: list[tuple[str, str]] = []
    texts_of(source, found)
    for text, call in found:
        if call == "`":
            if IN_TEMPLATE.search(UNITS.sub("", text)):
                yield text
        elif TEXT.search(text) and call not in MARKS:
            yield text


# What a script writes for programs: styles, fonts, names of headers, of kinds and of fields.
SILENT = re.compile(
    r"px system-ui|^\(prefers-|^main time\[|^svg \[|^unit:|"
    r"^(tick doubt warned|GET|POST|Content-Type|Idempotency-Key|Escape|X-[A-Z]\w+|Arrow\w+|Home|"
    r"End|Page\w+|Enter|FIELDSET|the answer was cut off)$"
)


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_no_text_of_a_script_is_bare(path: Path) -> None:
    assert [t for t in unmarked(path.read_text()) if not SILENT.search(t)] == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_what_a_script_says_is_in_the_catalogue(path: Path, catalogue: set[str]) -> None:
    source = re.sub(r"^\s*//.*$", "", path.read_text(), flags=re.MULTILINE)
    said = re.findall(r"""\b_\(\s*"((?:[^"\\]|\\.)*)\"""", source)
    for pair in re.findall(r"""\bngettext\(\s*"([^"]*)",\s*"([^"]*)\"""", source):
        said += pair
    calls = len(re.findall(r"(?<!function )\b_\(", source))
    calls += 2 * len(re.findall(r"(?<!function )\bngettext\(", source))
    assert len(said) == calls
    assert [text for text in said if text not in catalogue] == []


def test_bare_text_of_a_script_is_found() -> None:
    source = 'a("Not this"); b(_("Fine this", { c: d("Nor this") })); d(`${n} left`); e(`${f} mm`);'
    assert list(unmarked(source)) == ["Not this", "Nor this", f"{PUT_IN} left"]


def test_every_message_can_be_filled(catalogue: set[str]) -> None:
    """Scripts, templates and Python fill a message alike, so it has named places alone."""
    for text in catalogue:
        places = re.findall(r"%\((\w+)\)s", text)
        assert "%" not in looked_up(text, **dict.fromkeys(places, "")).replace("95 %", "")
