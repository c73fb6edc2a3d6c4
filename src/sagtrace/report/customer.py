"""The customer's page: what is wrong, what it costs, what half a repair means."""

from __future__ import annotations

from sagtrace.repair.options import Option
from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import (
    chain_of,
    leading_beliefs,
    mark,
    option_name,
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

__all__ = ["customer_paper", "shown_options", "with_tax"]

_INVENTED = "price-invented"  # the basis of the tariff that is shipped
_OPTIONS = 5  # chosen: more than this nobody compares


def customer_paper(assessment: Assessment) -> Paper:
    """Return the customer's page."""
    job, system = assessment.job, assessment.system
    tariff = system.tariff
    done = bool(job.repaired)
    body = _done_body(assessment) if done else _offer_body(assessment)
    return Paper(
        kind="customer",
        title="What was wrong and what was done" if done else "What is wrong and what we recommend",
        subtitle=job.title,
        mark=mark(assessment),
        facts=(
            ("Job", job.id),
            ("Opened", job.opened[:10] or "not noted"),
            ("System", system.layout.name),
        ),
        body=body,
        foot=f"Prices in {tariff.currency}, {100 * tariff.tax:.0f} % tax included; "
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
                Para(text="I have read the above and approve choice number ______ ."),
                Signature(label="Date and signature of the customer"),
                Signature(label="Date and signature of the workshop"),
            ),
        ),
    )


def _done_body(assessment: Assessment) -> tuple[Block, ...]:
    job, system = assessment.job, assessment.system
    work = tuple(sentence(system.repairs[r].plain) for r in job.repaired)
    when = f" on {job.repaired_at[:10]}" if job.repaired_at else ""
    passed = {
        "proved": "The repair is proved: every test below was passed.",
        "prove": "The repair is not proved yet: the tests below decide.",
    }[assessment.stage]
    return (
        Section(title="What was wrong", body=_found(assessment)),
        Section(title=f"What was done{when}", body=(Bullets(items=work),)),
        Section(title="How it was proved", body=(Para(text=passed), *_proof(assessment))),
        Section(title="Please note", body=(_DROPS,)),
        Section(title="Handed over", body=(Signature(label="Date and signature of the workshop"),)),
    )


_DROPS = Warn(
    level="danger",
    text="Never reach or lie under a vehicle that stands on its air suspension: it can drop "
    "without warning, also when a door is opened or the ignition is switched.",
)


def _found(assessment: Assessment) -> tuple[Block, ...]:
    found, system = leading_beliefs(assessment), assessment.system
    said = assessment.job.complaint
    told = (Para(text=f"You told us: {said}", tone="quiet"),) if said else ()
    if not found:
        top = [system.faults[b.fault].name for b in assessment.verdict.beliefs[:3]]
        lead = (
            "We do not know the cause yet. The most likely ones are "
            f"{listed(top, 'or')}; more checks are needed before a repair makes sense."
        )
        return (*told, Para(text=lead, tone="lead"))
    blocks: list[Block] = [
        *told,
        Para(text=" ".join(system.faults[b.fault].plain for b in found), tone="lead"),
    ]
    chain = chain_of(assessment)
    if chain is not None:
        blocks.append(chain)
    chained = {box.title for box in chain.boxes} if chain else set()
    names = {b.fault: sentence(system.faults[b.fault].name).rstrip(".") for b in found}
    sure = [
        f"{names[b.fault]}: {percent(b.probability)}"
        for b in found
        if names[b.fault] not in chained
    ]
    if sure:
        blocks.append(Para(text=f"How sure we are: {'; '.join(sure)}.", tone="quiet"))
    return tuple(blocks)


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
    return (*work, figures)


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
    items = []
    for due in assessment.proofs:
        text = proof_text(assessment.system, due)
        if due.judged is not None:
            text += f" Result: {due.judged.result}."
        items.append(text)
    return (Para(text=intro), Bullets(items=tuple(items)))


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
        text = "The prices are examples from an invented tariff and no offer."
        blocks.append(Warn(level="warning", text=text))
    if names:
        blocks.append(Para(text=f"Not ruled out yet: {listed(names)}.", tone="quiet"))
    return tuple(blocks)
