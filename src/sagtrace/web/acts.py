"""Every action of the pages, once: the API and the forms of the pages carry it out the same way."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sagtrace.app.desk import Desk, Done
from sagtrace.app.kept import Mark
from sagtrace.vehicle.job import Approval, Begun, Entry, Note
from sagtrace.web import bodies
from sagtrace.web.asking import Ask

__all__ = ["Act", "ACTS"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One action on a job: its API path below `/api/v1/jobs/{job}`, its body, and what it does."""

    path: str  # with {item} where it acts on a record of the job
    body: type[bodies.ChangeBody]
    what: str  # for the list of changes; what it acts on is added
    do: Callable[[Desk, str, str, Any, Mark, int | None], Done]

    def carry_out(self, ask: Ask, job: str, item: str, body: bodies.ChangeBody) -> Done:
        """Carry the action out; the same content with the same key is the same request."""
        asked = ask.about(self.path, job, item, body.model_dump_json())
        mark = asked.mark(f"{self.what} {item or getattr(body, 'check', '')}".strip(), body.by)
        return self.do(asked.desk, job, item, body, mark, asked.base)


def _answer(
    desk: Desk, job: str, _: str, b: bodies.AnswerBody, mark: Mark, base: int | None
) -> Done:
    return desk.answer(job, _entry(b), mark, base)


def _prove(desk: Desk, job: str, _: str, b: bodies.ProofBody, mark: Mark, base: int | None) -> Done:
    return desk.prove(job, _entry(b), mark, base)


def _entry(b: bodies.AnswerBody) -> Entry:
    return Entry(
        id="", check=b.check, outcome=b.outcome, values={k: v for k, v in b.values.items() if v},
        at=b.at, instrument=b.instrument, note=b.note, supersedes=b.supersedes, ends=b.ends,
    )  # fmt: skip


def _withdraw(
    desk: Desk, job: str, item: str, b: bodies.WithdrawBody, mark: Mark, base: int | None
) -> Done:
    return desk.withdraw(job, item, b.note, mark, base)


def _begin(desk: Desk, job: str, _: str, b: bodies.BeginBody, mark: Mark, base: int | None) -> Done:
    values = {k: v for k, v in b.values.items() if v}
    begun = Begun(id="", check=b.check, values=values, at=b.at, ready=b.ready, note=b.note)
    return desk.begin(job, begun, mark, base)


def _drop(
    desk: Desk, job: str, item: str, b: bodies.DropBody, mark: Mark, base: int | None
) -> Done:
    return desk.drop(job, item, b.note, mark, base)


def _note(desk: Desk, job: str, _: str, b: bodies.NoteBody, mark: Mark, base: int | None) -> Done:
    return desk.note(job, Note(id="", text=b.text, check=b.check, at=b.at), None, mark, base)


def _approve(
    desk: Desk, job: str, _: str, b: bodies.ApprovalBody, mark: Mark, base: int | None
) -> Done:
    approval = Approval(
        id="", repairs=tuple(b.repairs), offered=b.offered, answer=b.answer, how=b.how, who=b.who,
        at=b.at,
    )  # fmt: skip
    return desk.approve(job, approval, mark, base)


def _repaired(
    desk: Desk, job: str, _: str, b: bodies.RepairedBody, mark: Mark, base: int | None
) -> Done:
    return desk.repaired(job, b.repairs, mark, base, b.without_approval)


def _vehicle(
    desk: Desk, job: str, _: str, b: bodies.VehicleBody, mark: Mark, base: int | None
) -> Done:
    named = {
        "registration": b.registration, "odometer": b.odometer, "odometer-out": b.odometer_out,
        "reference": b.reference,
    }  # fmt: skip
    told = {name: text for name, text in named.items() if text is not None}
    return desk.tell_vehicle(job, {**told, **b.vehicle}, mark, base)


def _access(
    desk: Desk, job: str, _: str, b: bodies.AccessBody, mark: Mark, base: int | None
) -> Done:
    return desk.reach(job, b.access, mark, base)


def _practise(
    desk: Desk, job: str, _: str, b: bodies.PractiseBody, mark: Mark, base: int | None
) -> Done:
    return desk.practise(job, b.check, mark, proof=b.proof)


ACTS: Mapping[str, Act] = {
    "answer": Act(path="/entries", body=bodies.AnswerBody, what="answer", do=_answer),
    "withdraw": Act(
        path="/entries/{item}/withdrawal", body=bodies.WithdrawBody, what="withdraw", do=_withdraw
    ),
    "begin": Act(path="/begun", body=bodies.BeginBody, what="begin", do=_begin),
    "drop": Act(path="/begun/{item}/drop", body=bodies.DropBody, what="give up", do=_drop),
    "note": Act(path="/notes", body=bodies.NoteBody, what="note", do=_note),
    "approve": Act(path="/approvals", body=bodies.ApprovalBody, what="approval", do=_approve),
    "repaired": Act(path="/repairs", body=bodies.RepairedBody, what="repair", do=_repaired),
    "prove": Act(path="/proofs", body=bodies.ProofBody, what="proof", do=_prove),
    "vehicle": Act(path="/vehicle", body=bodies.VehicleBody, what="vehicle data", do=_vehicle),
    "practise": Act(path="/practice", body=bodies.PractiseBody, what="practise", do=_practise),
    "access": Act(path="/access", body=bodies.AccessBody, what="access", do=_access),
}
