"""The pages say what the program does: generated ones are current, the others are carried out."""

from __future__ import annotations

import doctest
import importlib
import importlib.util
import pkgutil
import re
import shlex
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest
from typer.main import get_command

import sagtrace
from sagtrace.cli.main import app, main
from sagtrace.vehicle.knowledge import Knowledge

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()
PAGES = [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"), ROOT / "requirements" / "README.md"]
COMMANDS = list(getattr(get_command(app), "commands"))  # noqa: B009  because typer hides it


def tool(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "tools" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


# --- generated pages


def test_the_command_line_page_is_current() -> None:
    assert (ROOT / "docs" / "cli.md").read_text() == tool("make_cli_reference").page()


def test_the_command_line_page_has_every_command_and_exit_code() -> None:
    said = (ROOT / "docs" / "cli.md").read_text()
    assert re.findall(r"^## (\S+)$", said, re.MULTILINE) == COMMANDS
    assert re.findall(r"^\| (\d) \|", said, re.MULTILINE) == ["0", "2", "3", "4", "5"]
    assert said.count("\nsagtrace ") >= len(COMMANDS)


def test_the_message_catalogue_is_current() -> None:
    module = tool("make_messages")
    assert module.PAGE.read_text(encoding="utf-8") == module.page()


def test_the_validation_page_is_current() -> None:
    """A process of its own collects the tests, because this one is busy running them."""
    command = [sys.executable, str(ROOT / "tools" / "make_validation.py"), "--check"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]


@pytest.mark.parametrize(
    ("x", "text"),
    [(0.0, "1e-11"), (4e-13, "1e-11"), (1.1e-11, "1e-10"), (1e-6, "1e-06"), (2e-3, "1e-02")],
)
def test_a_difference_is_given_as_the_power_of_ten_above_it(x: float, text: str) -> None:
    assert tool("make_validation").upper_power_of_ten(x) == text


@pytest.mark.parametrize("page", ["cli.md", "VALIDATION.md", "sagtrace.pot"])
def test_a_page_that_is_not_current_is_noticed(
    page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    makers = {"cli.md": "make_cli_reference", "VALIDATION.md": "make_validation"}
    module = tool(makers.get(page, "make_messages"))
    monkeypatch.setattr(module, "PAGE", tmp_path / page)
    monkeypatch.setattr(module, "page", lambda: "what it should be\n")
    monkeypatch.setattr(sys, "argv", ["tool", "--check"])
    assert module.main() == 1
    (tmp_path / page).write_text("old\n")
    assert module.main() == 1
    assert "make evidence" in capsys.readouterr().err
    assert (tmp_path / page).read_text() == "old\n"
    monkeypatch.setattr(sys, "argv", ["tool"])
    assert module.main() == 0
    monkeypatch.setattr(sys, "argv", ["tool", "--check"])
    assert module.main() == 0


# --- README


def readme_commands() -> list[list[str]]:
    """Return the program's commands in the README's blocks, comments left out."""
    blocks = re.findall(r"^```sh\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
    lines = [line for block in blocks for line in block.splitlines()]
    parsed = [shlex.split(line, comments=True) for line in lines]
    return [words[1:] for words in parsed if words and words[0].endswith("sagtrace")]


def test_every_command_of_the_readme_exists() -> None:
    assert len(readme_commands()) >= 8
    assert {words[0] for words in readme_commands()} <= set(COMMANDS)
    assert set(re.findall(r"`sagtrace (\w+)", README)) <= set(COMMANDS)


def test_the_readme_can_be_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for words in readme_commands():
        if words == ["serve"]:  # goes on until it is stopped; tests/web/test_serving.py runs it
            continue
        assert main(words) == 0, (words, capsys.readouterr().err)
    assert sorted(path.name for path in (tmp_path / "papers").iterdir()) == [
        "customer.pdf",
        "technical.pdf",
    ]


def test_make_targets_of_the_pages_exist() -> None:
    targets = set(re.findall(r"^(\w+):", (ROOT / "Makefile").read_text(), re.MULTILINE))
    for page in PAGES:
        used = re.findall(r"^make (\w+)|`make (\w+)", page.read_text(), re.MULTILINE)
        assert {first or second for first, second in used} <= targets, page


def test_the_readme_counts_what_there_is(knowledge: Knowledge) -> None:
    counts = r"with (\d+) faults, (\d+) checks, (\d+) repairs and (\d+) proofs"
    said = re.search(counts, " ".join(README.split()))
    assert said is not None
    kinds = (knowledge.faults, knowledge.checks, knowledge.repairs, knowledge.proofs)
    assert [int(number) for number in said.groups()] == [len(kind) for kind in kinds]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text()):
        assert (page.parent / target).exists(), target


def test_the_folders_of_the_guide_exist() -> None:
    guide = (ROOT / "CONTRIBUTING.md").read_text()
    folders = re.findall(r"^\| `([\w/]+)` \|", guide, re.MULTILINE)
    assert len(folders) > 10
    assert [folder for folder in folders if not (ROOT / folder).is_dir()] == []


# --- examples in the code


def modules() -> list[str]:
    return [info.name for info in pkgutil.walk_packages(sagtrace.__path__, "sagtrace.")]


@pytest.mark.parametrize("name", modules())
def test_examples_in_docstrings_work(name: str) -> None:
    assert doctest.testmod(importlib.import_module(name)).failed == 0
