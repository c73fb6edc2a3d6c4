"""Writes docs/VALIDATION.md: what the tests check against, taken from the marks of the tests.

Collects the tests without running them, compares the ways of inference on a few random sets of
evidence, and counts what the knowledge rests on. The same tree gives the same page on any machine:
a difference is given as the power of ten above it, none below `FINEST`.
`--check` writes nothing and says whether the page is what would be written now.
"""

from __future__ import annotations

import contextlib
import io
import math
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest

from generated import write_or_check
from sagtrace.bootstrap import open_workshop, virtual
from sagtrace.vehicle.knowledge import Knowledge

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "VALIDATION.md"
FINEST = 1e-11  # chosen: rounding alone differs between machines below this

KINDS: Mapping[str, str] = {
    "published": "printed in the named source, compared to the digits printed",
    "arithmetic": "computed from a stated formula and inputs by a general library, not by us",
    "common_practice": "a fact of the trade",
    "from_memory": "remembered from the named source, not read in it",
    "regression": "our own frozen output; it shows change, not truth",
}
RESTS_ON: Mapping[str, str] = {
    "published": "read in a published source",
    "common_practice": "common in the trade",
    "physics": "follows by definition or by physics",
    "from_memory": "remembered",
    "chosen": "judged",
}

INTRO = """\
# What is checked against what

Generated from the tests and the knowledge by `make evidence`; do not edit.

A check counts here if its expected value comes from the named source. Laws that must hold (signs,
limits, conservation, order of evidence) stand beside them in the tests and are not counted.
"""

LIMITS = """\
## Limits

- How often each fault occurs, how strongly one brings about another and how often a check misleads
  are judged. They rank suspects and checks; they are not statistics of a fleet. Each such number
  names one of the sources below, which says what changing it does.
- The physics assumes a constant load while something is watched, dry perfect gas, and rigid
  geometry apart from the spring that is measured.
- A vehicle's own values are wide assumptions until they are typed in from its workshop manual.
- Prices, minutes and the cost of a come-back are invented or judged until a shop puts its own in.
"""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Mark:
    """One check that names its source."""

    module: str
    kind: str
    source: str
    test: str


@dataclass
class Collector:
    """A pytest plugin that keeps the marks of what was collected."""

    marks: list[Mark] = field(default_factory=list)

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        for item in session.items:
            module = item.path.relative_to(ROOT).as_posix()
            for mark in item.iter_markers():
                if mark.name in KINDS:
                    source = str(mark.args[0]) if mark.args else ""
                    found = Mark(module=module, kind=mark.name, source=source, test=item.name)
                    self.marks.append(found)


def collected() -> list[Mark]:
    """Return the marks of all tests, in a settled order."""
    collector, said = Collector(), io.StringIO()
    options = ["--collect-only", "-q", "--assert=plain", "-p", "no:cacheprovider"]
    with contextlib.redirect_stdout(said):
        code = pytest.main(
            [*options, f"--rootdir={ROOT}", str(ROOT / "tests")], plugins=[collector]
        )
    if code != pytest.ExitCode.OK:
        raise RuntimeError(f"the tests cannot be collected:\n{said.getvalue()[-3000:]}")
    return sorted(collector.marks)


def cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def counts(marks: Sequence[Mark]) -> Iterator[str]:
    yield "| expected values | checks | sources |"
    yield "|---|---:|---:|"
    for kind, what in KINDS.items():
        mine = [mark for mark in marks if mark.kind == kind]
        sources = len({mark.source for mark in mine if mark.source})
        yield f"| `{kind}`: {what} | {len(mine)} | {sources or ''} |"


def published(marks: Sequence[Mark]) -> Iterator[str]:
    """Yield every published source and where it is used."""
    yield "| source | checked in | checks |"
    yield "|---|---|---:|"
    mine = [mark for mark in marks if mark.kind == "published"]
    for source in sorted({mark.source for mark in mine}):
        modules = sorted({Path(mark.module).stem for mark in mine if mark.source == source})
        n = sum(mark.source == source for mark in mine)
        yield f"| {cell(source)} | {', '.join(modules)} | {n} |"


def by_module(marks: Sequence[Mark]) -> Iterator[str]:
    """Yield a table of the sources of every test module."""
    order = list(KINDS)
    for module in sorted({mark.module for mark in marks}):
        rows = Counter((mark.kind, mark.source) for mark in marks if mark.module == module)
        yield f"\n### {module}\n"
        yield "| source | kind | checks |"
        yield "|---|---|---:|"
        for (kind, source), n in sorted(
            rows.items(), key=lambda r: (order.index(r[0][0]), r[0][1])
        ):
            yield f"| {cell(source) or 'our own output'} | {kind} | {n} |"


def upper_power_of_ten(x: float) -> str:
    """Return the power of ten above x, as text; never finer than `FINEST`.

    >>> upper_power_of_ten(4.1e-13), upper_power_of_ten(2e-6)
    ('1e-11', '1e-05')
    """
    return f"{10.0 ** math.ceil(math.log10(max(x, FINEST))):.0e}"


def inference() -> Iterator[str]:
    """Yield how far the ways to the same probabilities lie apart."""
    sys.path.insert(0, str(ROOT / "tests"))
    from reference import worst_difference  # because it is no part of the package

    reasoner = open_workshop().reasoner("rear-pair")
    worst = worst_difference(reasoner, panels=4, each=5, engine_sets=2)
    nodes, checks = len(reasoner.system.nodes), len(reasoner.system.checks)
    yield f"""\
What a person sees is computed exactly, with no sampling. On the shipped `rear-pair` network
({nodes} faults and conditions, {checks} checks) three ways are compared: a general library for
Bayesian networks, our own elimination of variables that answers many questions at once, and a
plain contraction of full probability tables that shares no code with either. The evidence is drawn
from the network itself: a vehicle that was brought in, up to twelve answers and up to two soft
findings. The tests do the same on other evidence, and on networks small enough to list every case.

| worst difference of any probability | below | sets of evidence |
|---|---:|---:|
| elimination and contraction | {upper_power_of_ten(worst.against_contraction)} | {worst.sets} |
| elimination and library | {upper_power_of_ten(worst.against_engine)} | {worst.engine_sets} |
| library and contraction | {upper_power_of_ten(worst.against_engine_and_contraction)} \
| {worst.engine_sets} |
| logarithm of the evidence's probability, all | \
{upper_power_of_ten(max(worst.log_evidence, worst.engine_log_evidence))} | {worst.sets} |
"""


def rests_on(value: Any) -> Iterator[str]:
    """Yield the source of every record of the knowledge."""
    if is_dataclass(value) and not isinstance(value, type):
        if basis := getattr(value, "basis", ""):
            yield basis
        for item in fields(value):
            yield from rests_on(getattr(value, item.name))
    elif isinstance(value, tuple):
        for part in value:
            yield from rests_on(part)
    elif isinstance(value, Mapping):
        yield from rests_on(tuple(value.values()))


def judged(knowledge: Knowledge) -> Iterator[str]:
    """Yield what the records of the knowledge rest on."""
    used = Counter(rests_on(knowledge)) + Counter(virtual().bases)
    kinds = {source.id: source.kind for source in knowledge.sources}
    yield "| the knowledge's records rest on what is | sources | records |"
    yield "|---|---:|---:|"
    for kind, what in RESTS_ON.items():
        mine = [id_ for id_ in kinds if kinds[id_] == kind]
        if mine:
            yield f"| {what} (`{kind}`) | {len(mine)} | {sum(used[id_] for id_ in mine)} |"
    yield "\nJudged, one by one:\n"
    yield "| source | what it says | records |"
    yield "|---|---|---:|"
    for source in sorted(knowledge.sources, key=lambda s: (-used[s.id], s.id)):
        if source.kind == "chosen":
            yield f"| `{source.id}` | {cell(source.text)} | {used[source.id]} |"


def page() -> str:
    """Return the whole page."""
    marks = collected()
    parts = [INTRO, "## Counts\n", *counts(marks)]
    parts += ["\n## Published sources\n", *published(marks)]
    parts += ["\n## How the inference is checked\n", *inference()]
    parts += [LIMITS, *judged(open_workshop().knowledge)]
    parts += ["\n## All sources, by test module", *by_module(marks)]
    return "\n".join(parts) + "\n"


def main() -> int:
    return write_or_check(PAGE, page, __doc__)


if __name__ == "__main__":
    sys.exit(main())
