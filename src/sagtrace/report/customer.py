"""The customer's page: what is wrong, what it costs, what half a repair means."""

from __future__ import annotations

from sagtrace.diagnosis.verdict import Belief
from sagtrace.repair.approved import covered
from sagtrace.repair.options import Option
from sagtrace.repair.proofs import DueProof
from sagtrace.report.after_repair import failed_proofs
from sagtrace.report.approved import ask_again
from sagtrace.report.assessment import Assessment
from sagtrace.report.heading import NO_HEADING, Heading
from sagtrace.report.history import repairs_named, when
from sagtrace.report.parts import (
    chain_of,
    come_back_text,
    identity_facts,
    leading_beliefs,
    mark,
    option_name,
    present_text,
    proof_text,
)
from sagtrace.report.tree import (
    Block,
    Bullets,
    Column,
    KeyFigure,
    KeyFigures,
    Paper,
    Para,
    Section,
    Signature,
    Table,
    Warn,
)
from sagtrace.report.words import listed, money, percent, sentence
from sagtrace.units import Own

__all__ = ["customer_paper", "shown_options", "with_tax"]

_INVENTED = "price-invented"  # the basis of the tariff that is shipped
_OPTIONS = 5  # chosen: more than this nobody compares


def customer_paper(assessment: Assessment, heading: Heading = NO_HEADING) -> Paper:
    """Return the customer's page."""
    job, system = assessment.job, assessment.system
    tariff = system.tariff
    done = bool(job.repaired)
    body = _done_body(assessment.as_found()) if done else _offer_body(assessment)
    return Paper(
        kind="customer",
        title="What was wrong and what was done" if done else "What is wrong and what we recommend",
        subtitle=Own(job.title),
        mark=mark(assessment),
        facts=(
            ("Job", job.id),
            ("Opened", job.opened[:10] or "not noted"),
            ("System", system.layout.name),
            *identity_facts(job),
        ),
        heading=heading.printed(),
        body=body,
        foot=""
        if done
        else f"Prices in {tariff.currency}, {100 * tariff.tax:.0f} % tax included; "
        f"come-backs within {tariff.period_months} months. {tariff.name}.",
    )


def _offer_body(assessment: Assessment) -> tuple[Block, ...]:
    return (
        Section(title="What we found", body=_found(assessment)),
        Section(title="What we recommend", body=_recommended(assessment)),
        Section(title="Your choices", body=_choices(assessment)),
        Section(title="How we prove it", body=_proof(assessment)),
        Section(title="Please note", body=_notes(assessment)),
        Section(
            title="Your approval",
            body=(
                *_given_before(assessment),
                Para(text="I have read the above and approve choice number ______ ."),
                Signature(label="Date and signature of the customer"),
                Signature(label="Date and signature of the workshop"),
            ),
        ),
    )


def _done_body(assessment: Assessment) -> tuple[Block, ...]:
    job, system = assessment.job, assessment.system
    work = tuple(sentence(system.repairs[r].done) for r in job.repaired)
    day = f" on {job.repaired_at[:10]}" if job.repaired_at else ""
    passed = "The repair is not proved yet: the tests below decide."
    if assessment.stage == "proved":
        passed = "The repair is proved: every test below was passed."
    elif failed_proofs(assessment):
        passed = "The repair is not proved: a test failed, so more has to be found and repaired."
    return (
        Section(title="What was wrong", body=_found(assessment)),
        Section(title="What you approved", body=_approved(assessment)),
        Section(title=f"What was done{day}", body=(Bullets(items=work),)),
        Section(title="How it was proved", body=(Para(text=passed), *_proof(assessment))),
        Section(title="Please note", body=(_DROPS,)),
        Section(title="Handed over", body=(Signature(label="Date and signature of the workshop"),)),
    )


_NO_OFFER = Warn(
    level="warning", text="The prices are examples from an invented tariff and no offer."
)
_DROPS = Warn(
    level="danger",
    text="Never reach or lie under a vehicle that stands on its air suspension: it can drop "
    "without warning, also when a door is opened or the ignition is switched.",
)


def _found(assessment: Assessment) -> tuple[Block, ...]:
    found, system = leading_beliefs(assessment), assessment.system
    said = assessment.job.complaint
    told = (Para(text=Own(f"You told us: {said}"), tone="quiet"),) if said else ()
    if not found:
        top = [system.faults[b.fault].name for b in assessment.verdict.beliefs[:3]]
        lead = (
            "We do not know the cause yet. The most likely ones are "
            f"{listed(top, 'or')}; more checks are needed before a repair makes sense."
        )
        return (*told, Para(text=lead, tone="lead"))
    done = bool(assessment.job.repaired)
    before = (Para(text="Before the repair we found:", tone="quiet"),) if done else ()

    def standing(belief: Belief) -> str:
        return _standing(assessment, belief) if done else present_text(belief)

    blocks: list[Block] = [
        *told,
        *before,
        Para(text=" ".join(system.faults[b.fault].plain for b in found), tone="lead"),
    ]
    chain = chain_of(assessment, standing)
    if chain is not None:
        blocks.append(chain)
    chained = {box.title for box in chain.boxes} if chain else set()
    names = {b.fault: sentence(system.faults[b.fault].name).rstrip(".") for b in found}
    sure = [
        f"{names[b.fault]}: {standing(b) if done else percent(b.probability)}"
        for b in found
        if names[b.fault] not in chained
    ]
    if sure:
        lead = "What became of it" if done else "How sure we are"
        blocks.append(Para(text=f"{lead}: {'; '.join(sure)}.", tone="quiet"))
    return tuple(blocks)


def _standing(assessment: Assessment, belief: Belief) -> str:
    """Return what became of a fault that was found before the repair."""
    repairs = (assessment.system.repairs[r] for r in assessment.job.repaired)
    if not any(belief.fault in repair.fixes for repair in repairs):
        return f"not repaired; probably there: {percent(belief.probability)}"
    results = [
        due.judged.result if due.judged else "open"
        for due in assessment.proofs
        if belief.fault in due.faults
    ]
    if results and set(results) == {"passed"}:
        return "found and repaired"
    if "failed" in results:
        return "found and worked on, but the test afterwards failed"
    return "found and repaired, not proved yet"


def _approved(assessment: Assessment) -> tuple[Block, ...]:
    """Return the prices that were approved, by whom and when, and what went beyond them."""
    job, system = assessment.job, assessment.system
    said = [a for a in job.approvals if a.answer == "approved"]
    if not said:
        return (Para(text="No approval is noted."),)
    cover = covered(system, job, job.repaired)
    told = cover.approvals or said[-1:]
    blocks: list[Block] = []
    for one in told:
        how = f", {one.how}" if one.how else ""
        price = f"Price as told: {one.offered or 'not noted'}. "
        by = f"Approved by {one.who or 'the customer'}{how}, {when(one.at)}."
        blocks.append(Para(text=sentence(repairs_named(system, one.repairs))))
        blocks.append(Para(text=Own(price + by)))
    if cover.missing:
        text = f"Done without a noted approval: {repairs_named(system, cover.missing)}."
        blocks.append(Warn(level="notice", text=text))
    if any(one.offered for one in told) and system.tariff.basis == _INVENTED:
        blocks.append(_NO_OFFER)
    return tuple(blocks)


def _given_before(assessment: Assessment) -> tuple[Block, ...]:
    """Return that an approval which was given does not reach over what is recommended now."""
    cover = covered(assessment.system, assessment.job, assessment.options[0].repairs)
    said = ask_again(assessment.system, cover)
    return (Warn(level="notice", text=said),) if said else ()


def with_tax(assessment: Assessment, option: Option) -> str:
    """Return the price that the customer pays, with its spread."""
    tax, currency = 1.0 + assessment.system.tariff.tax, option.price.currency
    if option.price.total == 0.0:
        return f"0 {currency}"
    return money(tax * option.price.total, currency, tax * option.price.std)


def _recommended(assessment: Assessment) -> tuple[Block, ...]:
    if assessment.stage == "check" and not leading_beliefs(assessment):
        return (Para(text="First find the cause: see the technical record for the next checks."),)
    option, system = assessment.options[0], assessment.system
    months = system.tariff.period_months
    work = [Para(text=sentence(system.repairs[r].plain)) for r in option.repairs]
    figures = KeyFigures(
        items=(
            KeyFigure(
                label="Price with tax", value=with_tax(assessment, option), note="parts and labour"
            ),
            KeyFigure(
                label="Cures the vehicle now",
                value=percent(option.cure),
                note="no other part is at fault",
            ),
            KeyFigure(
                label=f"Comes back within {months} months",
                value=percent(option.come_back),
                note="for any reason we know of",
            ),
        )
    )
    ways = come_back_text(system, option)
    if not ways:
        return (*work, figures)
    text = f"Why it may come back ({percent(option.come_back)}): {ways}."
    return (*work, figures, Para(text=text, tone="quiet"))


def shown_options(assessment: Assessment) -> tuple[Option, ...]:
    """Return the recommended option, its halves, and doing nothing, best first."""
    best, *others = assessment.options
    halves = [o for o in others if o.repairs and set(o.repairs) < set(best.repairs)]
    nothing = [o for o in others if not o.repairs]
    rest = [o for o in others if o not in halves and o not in nothing]
    lasting = sorted(rest, key=lambda o: o.come_back)[:1]
    kept = [*lasting, *halves, *rest[:_OPTIONS]][: _OPTIONS - 1 - len(nothing)]
    kept = list(dict.fromkeys(kept))
    return (best, *sorted(kept, key=lambda o: o.expected_total), *nothing)


def _choices(assessment: Assessment) -> tuple[Block, ...]:
    system = assessment.system
    options = shown_options(assessment)
    rows = tuple(
        (
            str(i),
            sentence(option_name(system, option)).rstrip("."),
            with_tax(assessment, option),
            percent(option.cure),
            percent(option.come_back),
        )
        for i, option in enumerate(options, start=1)
    )
    table = Table(
        columns=(
            Column(title="No.", share=0.4),
            Column(title="What is done", share=3.2),
            Column(title="Price with tax", align="right", share=1.5),
            Column(title="Cures", align="right", share=0.9),
            Column(title="Comes back", align="right", share=1.0),
        ),
        rows=rows,
        strong=(0,),
    )
    blocks: list[Block] = [table]
    why = [
        f"With choice {i}, {listed([r.text for r in option.reasons[:2]])}."
        for i, option in enumerate(options, start=1)
        if i > 1 and option.reasons and option.repairs
    ]
    if why:
        blocks.append(Bullets(items=tuple(why)))
    return tuple(blocks)


def _proof(assessment: Assessment) -> tuple[Block, ...]:
    if not assessment.proofs:
        return (Para(text="There is no repair to prove yet."),)
    intro = "A repair counts only when these tests are passed; you get the results in writing."
    items = tuple(_proved(assessment, due) for due in assessment.proofs)
    return (Para(text=intro), Bullets(items=items))


def _proved(assessment: Assessment, due: DueProof) -> str:
    """Return what was measured beside its limit, or the test that is still to come."""
    if due.judged is None:
        waits = " Not done yet." if assessment.job.repaired else ""
        return proof_text(assessment.system, due) + waits
    name = sentence(assessment.system.checks[due.proof.check].name).rstrip(".")
    return f"{name}: {due.judged.told}. Result: {due.judged.result}."


def _notes(assessment: Assessment) -> tuple[Block, ...]:
    open_ = assessment.verdict.not_excluded
    names = [
        f"{assessment.system.faults[b.fault].name} ({percent(b.probability)})" for b in open_[:5]
    ]
    blocks: list[Block] = [
        _DROPS,
        Warn(
            level="notice",
            text="Until it is repaired, drive slowly if it sits low, do not load or tow, and do "
            "not let the pump run on and on. The vehicle maker's instructions go first.",
        ),
    ]
    if assessment.system.tariff.basis == _INVENTED:
        blocks.append(_NO_OFFER)
    if names:
        blocks.append(Para(text=f"Not ruled out yet: {listed(names)}.", tone="quiet"))
    return tuple(blocks)
