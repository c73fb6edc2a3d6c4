"""All checks of a system, found by part, by kind or by word."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sagtrace.repair.costs import way_to_check
from sagtrace.report.words import sentence
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.job import NOT_DONE, Job
from sagtrace.vehicle.system import System
from sagtrace.web.views.cards import KINDS, time_of
from sagtrace.web.words import _

__all__ = ["checks_page", "ChecksPage", "Group", "Line", "parts_of"]

_VAGUE = ("elsewhere", "use")  # no part that a check is looked up under, if there is another


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One check of the list."""

    id: str
    name: str
    kind: str
    time: str
    answered: bool
    not_done: bool  # it was said that it cannot be done here


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Checks that belong together."""

    name: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChecksPage:
    """Everything that checks.html may use."""

    job: str
    text: str
    component: str
    kind: str
    components: tuple[tuple[str, str], ...]
    kinds: tuple[tuple[str, str], ...]
    groups: tuple[Group, ...]
    count: int
    filtered: bool


def parts_of(system: System, check: Check) -> tuple[str, ...]:
    """Return the components that a check bears on, those it looks at itself first."""
    nodes = {n: None for row in check.rows for n in row.when}
    if check.measure:
        nodes[check.measure.node] = None
    own = dict.fromkeys(system.faults[n].component for n in nodes if n in system.faults)
    behind: dict[str, None] = {}
    todo, seen = [n for n in nodes if n not in system.faults], set(nodes)
    while todo:
        for cause in system.nodes[todo.pop()].causes:
            if cause.parent in seen:
                continue
            seen.add(cause.parent)
            if cause.parent in system.faults:
                behind[system.faults[cause.parent].component] = None
            else:
                todo.append(cause.parent)
    found = [*own, *(c for c in behind if c not in own)]
    return tuple(c for c in found if c not in _VAGUE) or tuple(found)


def checks_page(system: System, job: Job, text: str, component: str, kind: str) -> ChecksPage:
    """Return the checks that fit every filter that is set."""
    answers = {entry.check: entry.outcome for entry in job.current()}
    words = text.casefold().split()
    grouped: dict[str, list[Line]] = {}
    used: dict[str, None] = {}
    for check in system.checks.values():
        parts = parts_of(system, check)
        used |= dict.fromkeys(parts)
        if (component and component not in parts) or (kind and check.kind != kind):
            continue
        if not all(word in _searched(system, check, parts) for word in words):
            continue
        way = way_to_check(system, check, job.access)
        line = Line(
            id=check.id, name=sentence(check.name).rstrip("."), kind=_(KINDS[check.kind]),
            time=time_of(check.minutes + way.minutes, check.wait_minutes),
            answered=check.id in answers, not_done=answers.get(check.id) == NOT_DONE,
        )  # fmt: skip
        grouped.setdefault(_group(check, parts), []).append(line)
    names = {c: sentence(system.components[c].name).rstrip(".") for c in used}
    order = ["", *(c for c in system.components if c in used), "several"]
    titles = {"": _("Ask the customer"), "several": _("Several parts at once"), **names}
    return ChecksPage(
        job=job.id,
        text=text,
        component=component if component in used else "",
        kind=kind if kind in KINDS else "",
        components=tuple((c, names[c]) for c in system.components if c in used),
        kinds=tuple((k, _(text)) for k, text in KINDS.items()),
        groups=tuple(Group(name=titles[g], lines=tuple(grouped[g])) for g in order if g in grouped),
        count=sum(map(len, grouped.values())),
        filtered=bool(text or component or kind),
    )


def _group(check: Check, parts: tuple[str, ...]) -> str:
    if check.kind == "ask":
        return ""
    return parts[0] if len(parts) == 1 else "several"


def _searched(system: System, check: Check, parts: Iterable[str]) -> str:
    names = [system.components[c].name for c in parts]
    return " ".join([check.id, check.name, check.why, *check.tools, *names]).casefold()
