"""What the page of the verdict shows: what is how probable, why, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sagtrace.diagnosis.verdict import Belief, Move
from sagtrace.evidence.findings import Finding
from sagtrace.report.assessment import Assessment
from sagtrace.report.causes import Strand, strands
from sagtrace.report.from_before import COUNTS, from_before, sum_of
from sagtrace.report.parts import leading_beliefs, state_text
from sagtrace.report.tree import Bar
from sagtrace.report.words import listed, odds, percent, sentence
from sagtrace.units import METRIC, Reader, as_read, from_si
from sagtrace.vehicle.layouts import Fact
from sagtrace.web.views.opened import evidence_link
from sagtrace.web.views.paper import BarRow, bar_row
from sagtrace.web.views.plot import NARROW, WIDE
from sagtrace.web.views.story import StoryDrawing, draw_story
from sagtrace.web.words import _

__all__ = [
    "Assumed",
    "ConditionView",
    "FaultView",
    "LookAgain",
    "OldFinding",
    "Said",
    "StoryView",
    "VerdictView",
    "view_verdict",
]

SETS, FAULTS = 5, 6  # chosen: more are a tap away
_QUIET = 0.9  # chosen: a condition that is more likely than this in its healthy state is quiet


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What one finding did to one fault."""

    odds: str
    name: str
    text: str
    entry: str
    link: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultView:
    """One fault with what speaks for and against it."""

    id: str
    bar: BarRow
    states: tuple[tuple[str, str], ...]  # what it would be, and how probable
    plain: str
    speaks_for: tuple[Said, ...]
    speaks_against: tuple[Said, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryView:
    """One strand of the story, drawn for wide and for narrow pages, and in words."""

    drawings: tuple[tuple[str, StoryDrawing], ...]
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAgain:
    """A finding that the others hardly allow."""

    name: str
    text: str
    why: str
    entry: str
    link: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionView:
    """What state something is in, apart from faults."""

    name: str
    text: str
    chance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """A value of the vehicle that nobody has read in its manual yet."""

    name: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OldFinding:
    """Something found before a repair, and whether it still counts."""

    entry: str
    name: str
    counts: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictView:
    """Everything that the page of the verdict shows of a job that can be judged."""

    lead: tuple[str, ...]
    found: bool
    alone: str  # how probable it is that exactly this is present
    sets: tuple[BarRow, ...]
    sets_rest: str
    faults: tuple[FaultView, ...]
    more_faults: tuple[FaultView, ...]
    stories: tuple[StoryView, ...]
    not_excluded: tuple[tuple[str, str], ...]
    look_again: tuple[LookAgain, ...]
    no_part: tuple[tuple[str, str], ...]  # reasons to ride low that need no part, how probable
    conditions: tuple[ConditionView, ...]
    quiet_conditions: tuple[ConditionView, ...]
    findings: int
    measured: int
    assumed: tuple[Assumed, ...]
    sources: tuple[str, ...]  # of what is assumed
    caveats: tuple[tuple[str, str], ...]  # what of, and what about it
    left_out: tuple[tuple[str, str, str], ...]  # entry, what was done, why
    old: str  # what still counts from before a repair; empty: nothing was repaired
    old_rows: tuple[OldFinding, ...]


def view_verdict(a: Assessment, reader: Reader = METRIC) -> VerdictView:
    """Return what the page shows."""
    verdict, system, old = a.verdict, a.system, from_before(a)
    found = leading_beliefs(a)
    faults = [_fault(a, belief) for belief in verdict.beliefs]
    conditions = [_condition(a, id_, states) for id_, states in verdict.conditions.items()]
    return VerdictView(
        lead=tuple(sentence(state_text(system, b)) for b in found),
        found=bool(found),
        alone=percent(verdict.leading.probability),
        sets=tuple(_set(a, i) for i in range(min(SETS, len(verdict.sets)))),
        sets_rest=percent(1.0 - sum(s.probability for s in verdict.sets[:SETS])),
        faults=tuple(faults[: max(FAULTS, len(found))]),
        more_faults=tuple(faults[max(FAULTS, len(found)) :]),
        stories=tuple(_story(as_read(strand, reader)) for strand in strands(a.as_found())),
        not_excluded=tuple(
            (_title(system.faults[b.fault].name), percent(b.probability))
            for b in verdict.not_excluded
        ),
        look_again=_look_again(a),
        no_part=tuple(
            (_title(system.faults[b.fault].name), percent(b.probability))
            for b in verdict.beliefs
            if system.faults[b.fault].kind == "no-part"
        ),
        conditions=tuple(view for quiet, view in conditions if not quiet),
        quiet_conditions=tuple(view for quiet, view in conditions if quiet),
        findings=len(verdict.findings),
        measured=sum(f.estimate is not None for f in verdict.findings),
        assumed=tuple(_assumed(a, fact) for fact in a.facts.assumed),
        sources=tuple(dict.fromkeys(_source(a, fact) for fact in a.facts.assumed)),
        caveats=tuple(
            dict.fromkeys(
                (f"{f.name} [{f.id}]", c.text) for f in verdict.findings for c in f.caveats
            )
        ),
        left_out=tuple((x.entry, system.checks[x.check].name, x.why) for x in a.left_out),
        old=sum_of(old),
        old_rows=tuple(
            OldFinding(
                entry=b.finding.id, name=_title(b.finding.name), counts=COUNTS[b.bears], why=b.why
            )
            for b in old
        ),
    )


def _set(a: Assessment, i: int) -> BarRow:
    one = a.verdict.sets[i]
    names = listed([a.system.faults[f].name for f in one.faults]) or _("nothing on the list")
    text = percent(one.probability)
    return bar_row(Bar(name=_title(names), share=one.probability, text=text))


def _fault(a: Assessment, belief: Belief) -> FaultView:
    fault = a.system.faults[belief.fault]
    findings = {f.id: f for f in a.verdict.findings}
    moves = a.verdict.why(belief.fault)
    bar = Bar(
        name=_title(fault.name), share=belief.probability,
        text=percent(belief.probability), before=belief.prior,
    )  # fmt: skip
    return FaultView(
        id=belief.fault,
        bar=bar_row(bar, percent(belief.prior)),
        states=tuple(
            (sentence(state.text), percent(belief.states[state.id])) for state in fault.states[1:]
        ),
        plain=sentence(fault.plain),
        speaks_for=_said(a, findings, [m for m in moves if m.log_odds > 0]),
        speaks_against=_said(a, findings, [m for m in moves if m.log_odds < 0]),
    )


def _said(
    a: Assessment, findings: Mapping[str, Finding], moves: Sequence[Move]
) -> tuple[Said, ...]:
    return tuple(
        Said(
            odds=odds(move.log_odds), name=_title(findings[move.finding].name),
            text=findings[move.finding].text, entry=move.finding,
            link=evidence_link(a.job.id, move.finding),
        )
        for move in moves
    )  # fmt: skip


def _story(strand: Strand) -> StoryView:
    return StoryView(
        drawings=(
            ("wide", draw_story(strand, WIDE.wide, WIDE.text + 2.0)),
            ("narrow", draw_story(strand, NARROW.wide, NARROW.text + 2.0)),
        ),
        said=strand.sentences(),
    )


def _look_again(a: Assessment) -> tuple[LookAgain, ...]:
    findings = {f.id: f for f in a.verdict.findings}
    return tuple(
        LookAgain(
            name=_title(findings[c.finding].name), text=findings[c.finding].text,
            why=c.text, entry=c.finding, link=evidence_link(a.job.id, c.finding),
        )
        for c in a.verdict.conflicts
    )  # fmt: skip


def _condition(a: Assessment, id_: str, states: Mapping[str, float]) -> tuple[bool, ConditionView]:
    """Return whether a condition is in its healthy state for all we know, and what it is."""
    node = a.system.nodes[id_]
    likely = max(states, key=lambda state: states[state])
    text = next(state.text for state in node.states if state.id == likely)
    view = ConditionView(
        name=_title(node.name), text=sentence(text), chance=percent(states[likely])
    )
    return likely == node.state_ids[0] and states[likely] > _QUIET, view


def _assumed(a: Assessment, fact: Fact) -> Assumed:
    estimate, zero = a.facts.values[fact.id], from_si(0.0, fact.unit)
    value, std = from_si(estimate.value, fact.unit), from_si(estimate.std, fact.unit) - zero
    return Assumed(name=_title(fact.name), value=f"{value:.3g} ± {std:.2g} {fact.unit}".rstrip())


def _source(a: Assessment, fact: Fact) -> str:
    source = a.system.sources[fact.basis]
    return sentence(f"{source.kind.replace('_', ' ')}: {source.text}")


def _title(text: str) -> str:
    return sentence(text).rstrip(".")
