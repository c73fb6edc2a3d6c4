"""The workshop's own heading is kept whole in a file, and stands on both papers."""

from __future__ import annotations

from pathlib import Path

import pytest

from papers import assessed
from sagtrace.adapters.remembered import HeadingFile
from sagtrace.errors import DocumentError, InputError
from sagtrace.report.customer import customer_paper
from sagtrace.report.heading import NO_HEADING, Heading
from sagtrace.report.technical import technical_paper

SHOP = Heading(name="Invented Springs Ltd", lines=("0 Example Lane", "", "Telephone 000"))


def test_what_goes_in_comes_out(tmp_path: Path) -> None:
    file = HeadingFile(tmp_path / "not there yet" / "workshop.yaml")
    assert file.load() == NO_HEADING
    for heading in (SHOP, Heading(name="Größe: # 頭"), NO_HEADING):
        file.save(heading)
        assert HeadingFile(file.path).load() == heading
    assert [p.name for p in file.path.parent.iterdir()] == ["workshop.yaml"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name: [1]", "name"),
        ("name: x\nadress: y", "adress"),
        ("name: x\nlines: [a, b, c, d]", "at most 3"),
        ("name: 'a\\x07b'\nlines: [\"a\\tb\"]", "line 1"),
        ("name: " + "x" * 81, "81 characters"),
    ],
)
def test_a_damaged_file_says_where(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "workshop.yaml"
    path.write_text(text)
    with pytest.raises(DocumentError, match=said) as caught:
        HeadingFile(path).load()
    assert caught.value.file == str(path)


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(DocumentError, match="cannot be written"):
        HeadingFile(tmp_path / "file" / "workshop.yaml").save(SHOP)


@pytest.mark.parametrize(
    ("name", "lines"),
    [("a\nb", ()), ("a" * 81, ()), ("a", ("b\x00",)), ("a", ("b",) * 4), ("a", ("b" * 81,))],
)
def test_what_does_not_fit_a_paper_is_refused(name: str, lines: tuple[str, ...]) -> None:
    with pytest.raises(InputError):
        Heading(name=name, lines=lines)


@pytest.mark.parametrize("make", [customer_paper, technical_paper])
@pytest.mark.parametrize("job", ["demo", "proved", "empty"])
def test_both_papers_carry_it(make: object, job: str) -> None:
    assert callable(make)
    assert make(assessed(job), SHOP).heading == (
        "Invented Springs Ltd", "0 Example Lane", "Telephone 000",
    )  # fmt: skip
    assert make(assessed(job)).heading == ()
