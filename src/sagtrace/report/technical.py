"""The technical record: everything that the next technician needs to check the verdict."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from sagtrace.evidence.findings import Finding
from sagtrace.report.assessment import Assessment, Recorded
from sagtrace.report.heading import NO_HEADING, Heading
from sagtrace.report.history import (
    approvals,
    begun_checks,
    notes,
    proof_entries,
    told_values,
    when,
)
from sagtrace.report.parts import (
    belief_bars,
    chain_of,
    come_back_text,
    identity_facts,
    leading_beliefs,
    mark,
    option_name,
    proof_text,
    repair_cautions,
    state_text,
    time_text,
)
from sagtrace.report.recorded import (
    NOTHING_STANDS_OUT,
    audit_table,
    duty_text,
    fills_table,
    fit_table,
    misfit_text,
    rests_table,
)
from sagtrace.report.recording_figures import recording_figures
from sagtrace.report.tree import (
    Block,
    Bullets,
    Column,
    Paper,
    Para,
    Section,
    Table,
    Warn,
)
from sagtrace.report.words import between, listed, money, odds, percent, sentence
from sagtrace.signals.timebase import Spacing
from sagtrace.units import KINDS, Own, format_quantity, from_si
from sagtrace.vehicle.readings import Reading
from sagtrace.vehicle.system import System

__all__ = ["technical_paper"]

_MOST_ROWS = 12  # chosen: of rests or of fills, a third of a page
_EVEN = 1e-6  # chosen: of the interval; less is rounding
_RULED_OUT = 0.25  # chosen: share of its prior below which a fault is called ruled out


def technical_paper(assessment: Assessment, heading: Heading = NO_HEADING) -> Paper:
    """Return the technical record."""
    job, system, found = assessment.job, assessment.system, assessment.as_found()
    sections = (
        Section(title="Verdict", body=_verdict(found)),
        Section(title="Why", body=_why(found)),
        Section(title="Measurements", body=_measurements(assessment)),
        Section(title="Observations", body=_observations(assessment)),
        Section(title="Begun and not finished", body=begun_checks(assessment)),
        Section(title="Notes", body=notes(assessment)),
        *(
            Section(title=f"Recording {r.id}", body=_recording(assessment, r))
            for r in assessment.recordings
        ),
        Section(title="Not excluded, ruled out, contradictions", body=_open(found)),
        Section(title="Next", body=_next(assessment)),
        Section(title="Repair options", body=_options(assessment)),
        Section(title="Approvals", body=approvals(assessment)),
        Section(title="Repair done", body=_done(assessment)),
        Section(title="Proof", body=(*_proofs(assessment), *proof_entries(assessment))),
        Section(title="Cautions", body=_cautions(assessment)),
        Section(title="What was told of the vehicle", body=told_values(assessment)),
        Section(title="What was assumed, and where numbers come from", body=_basis(assessment)),
    )
    return Paper(
        kind="technical",
        title="Technical record",
        subtitle=Own(job.title),
        mark=mark(assessment),
        facts=(
            ("Job", job.id),
            ("Opened", job.opened[:10] or "not noted"),
            ("System", system.layout.name),
            *identity_facts(job),
            ("Complaint", Own(job.complaint)),
        ),
        heading=heading.printed(),
        body=tuple(section for section in sections if section.body),
        foot=Own(
            f"sagtrace {assessment.version}, knowledge {system.edition} "
            f"({system.digest[:12]}), input {assessment.digest[:12]}"
        ),
    )


def _verdict(assessment: Assessment) -> tuple[Block, ...]:
    system, verdict = assessment.system, assessment.verdict
    found = leading_beliefs(assessment)
    lead = (
        sentence(listed([state_text(system, b) for b in found]))
        if found
        else "No fault stands out yet; go on checking."
    )
    rows = tuple(
        (
            listed([system.faults[f].name for f in s.faults]) or "nothing on the list",
            percent(s.probability),
        )
        for s in verdict.sets[:6]
    )
    table = Table(
        columns=(
            Column(title="Exactly these faults together", share=5),
            Column(title="Probability", align="right"),
        ),
        rows=rows,
        caption=f"The most probable sets; other sets together: "
        f"{percent(1.0 - sum(s.probability for s in verdict.sets[:6]))}.",
        strong=(0,),
    )
    blocks: list[Block] = [Para(text=lead, tone="lead"), belief_bars(assessment, 8), table]
    if assessment.job.repaired:
        blocks.insert(0, Para(text="What the evidence from before the repair says:", tone="quiet"))
    if (chain := chain_of(assessment)) is not None:
        blocks.append(chain)
    for link in assessment.story:
        if not link.counts and link.support:
            text = (
                f"{system.faults[link.cause].name} does not explain "
                f"{system.faults[link.effect].name}: {link.support.text}"
            )
            blocks.append(Para(text=sentence(text)))
    return tuple(blocks)


def _why(assessment: Assessment) -> tuple[Block, ...]:
    findings = {f.id: f for f in assessment.verdict.findings}
    names = assessment.system.faults
    rows = [
        (
            names[b.fault].name,
            f"{findings[m.finding].name}: {findings[m.finding].text}",
            odds(m.log_odds),
        )
        for b in (leading_beliefs(assessment) or assessment.verdict.beliefs[:2])
        for m in assessment.verdict.why(b.fault)[:5]
    ]
    table = Table(
        columns=(
            Column(title="Fault", share=2),
            Column(title="Finding", share=5),
            Column(title="What it did", align="right", share=1.6),
        ),
        rows=tuple(rows),
        caption="What each finding does to a fault while all others stay.",
    )
    return (table,) if rows else ()


def _interval(finding: Finding) -> str:
    if finding.estimate is None:
        return ""
    low, high = finding.estimate.interval()
    return between(low, high, finding.estimate.unit)


def _measurements(assessment: Assessment) -> tuple[Block, ...]:
    measured = [f for f in _entered(assessment) if f.estimate is not None]
    if not measured:
        return ()
    results = tuple((f.id, f.name, f.text.partition(";")[0], _interval(f)) for f in measured)
    readings = tuple(
        (
            f.id,
            r.name,
            Own(r.text),
            _with_spread(assessment.system, f, r),
            Own(r.instrument or "not noted"),
            r.taken_at[:16].replace("T", " ") or "not noted",
        )
        for f in measured
        for r in f.readings
    )
    blocks: list[Block] = [
        Table(
            columns=(
                Column(title="Entry", share=0.8),
                Column(title="Check", share=2.4),
                Column(title="Result (± one standard deviation)", share=3),
                Column(title="95 % interval", align="right", share=1.7),
            ),
            rows=results,
            caption="Flows at 20 °C and 1 atm.",
        )
    ]
    if readings:
        blocks.append(
            Table(
                columns=(
                    Column(title="Entry", share=0.8),
                    Column(title="Reading", share=1.6),
                    Column(title="As typed", share=1.1),
                    Column(title="With spread", share=1.6),
                    Column(title="Instrument", share=1.4),
                    Column(title="Taken", share=1.5),
                ),
                rows=readings,
                caption="Readings as typed; the spread joins the last digit and the handling.",
            )
        )
    caveats = dict.fromkeys(f"{f.id}: {c.text}" for f in measured for c in f.caveats)
    if caveats:
        blocks.append(Bullets(items=tuple(caveats)))
    return tuple(blocks)


def _entered(assessment: Assessment) -> tuple[Finding, ...]:
    """Return the findings but for those of proofs, which have a section of their own."""
    proofs = {proof.id for proof in assessment.job.proofs}
    return tuple(f for f in assessment.verdict.findings if f.id not in proofs)


def _with_spread(system: System, finding: Finding, reading: Reading) -> str:
    measure = system.checks[finding.source].measure
    unit = next(
        (slot.unit for slot in (measure.inputs if measure else ()) if slot.name == reading.name),
        KINDS[reading.kind].shown_unit,
    )
    return format_quantity(reading.value, reading.std, unit)


def _observations(assessment: Assessment) -> tuple[Block, ...]:
    by = {e.id: e.by for e in assessment.job.entries}
    by |= {r.id: "recording" for r in assessment.recordings}
    rows = tuple(
        (f.id, f.name, f.text, Own(by.get(f.id) or by.get(f.source) or "not noted"))
        for f in _entered(assessment)
        if f.estimate is None
    )
    blocks: list[Block] = []
    if rows:
        columns = (
            Column(title="Entry", share=1.5),
            Column(title="Check", share=2.4),
            Column(title="Seen", share=4),
            Column(title="By", share=1),
        )
        blocks.append(Table(columns=columns, rows=rows))
    if assessment.left_out:
        items = tuple(Own(f"{x.entry} ({x.check}): {x.why}") for x in assessment.left_out)
        blocks += [Para(text="Kept but not counted:", tone="quiet"), Bullets(items=items)]
    return tuple(blocks)


def _recording(assessment: Assessment, recorded: Recorded) -> tuple[Block, ...]:
    report, fit = recorded.report, recorded.report.fit
    blocks: list[Block] = [*_came_from(assessment, recorded), *recording_figures(recorded)]
    audit = audit_table(report)
    if audit is not None:
        blocks.append(audit)
    elif report.audit:
        blocks.append(Para(text=f"{NOTHING_STANDS_OUT} in {len(report.audit)} tests."))
    if fit is not None:
        blocks += [fit_table(fit, f"fit to {recorded.id}"), Para(text=misfit_text(fit))]
    tables = (rests_table(report, _MOST_ROWS), fills_table(report, _MOST_ROWS))
    blocks += [table for table in tables if table is not None]
    notes = (duty_text(report), *report.notes)
    blocks.append(Bullets(items=tuple(dict.fromkeys(sentence(note) for note in notes))))
    return tuple(blocks)


def _came_from(assessment: Assessment, recorded: Recorded) -> Iterator[Block]:
    """Yield which file it was and how it was read."""
    kept = next((r for r in assessment.job.recordings if r.id == recorded.id), None)
    read = recorded.imported
    time = recorded.trace.time
    rows = [
        ("File", kept.file if kept else read.file if read else ""),
        ("SHA-256", kept.sha256 if kept else read.sha256 if read else ""),
        ("Length", f"{(time[-1] - time[0]) / 60:.1f} min, {time.size} samples"),
    ]
    if read is not None and read.spacing is not None:
        rows.append(("Sampling interval", _interval_text(read.spacing)))
    tapes = [f"{t.corner} {t.height} at {t.time}" for t in kept.tapes] if kept else []
    if tapes:
        rows.append(("Taped meanwhile", "; ".join(tapes)))
    columns = (Column(title="Recording", share=1), Column(title="", share=4))
    yield Table(columns=columns, rows=tuple(row for row in rows if row[1]))
    if read is not None and read.notes:
        yield Para(text="How the file was read:", tone="quiet")
        yield Bullets(items=tuple(dict.fromkeys(map(sentence, read.sentences()))))


def _interval_text(spacing: Spacing) -> str:
    even = spacing.spread < _EVEN * spacing.median
    spread = "evenly" if even else f"the middle half differs by {spacing.spread:.3g} s"
    return f"usually {spacing.median:.3g} s, {spread}"


def _open(assessment: Assessment) -> tuple[Block, ...]:
    verdict, names = assessment.verdict, assessment.system.faults
    blocks: list[Block] = []
    if verdict.not_excluded:
        items = tuple(
            f"{names[b.fault].name}: {percent(b.probability)}" for b in verdict.not_excluded
        )
        blocks += [Para(text="Not excluded yet:"), Bullets(items=items)]
    found = {b.fault for b in leading_beliefs(assessment)}
    out = [
        b for b in verdict.beliefs if b.fault not in found and b.probability < _RULED_OUT * b.prior
    ]
    if out:
        findings = {f.id: f for f in verdict.findings}
        reasons: list[str] = []
        for belief in out:
            against = [m for m in verdict.why(belief.fault) if m.log_odds < 0][:1]
            reason = f", mostly by {findings[against[0].finding].name}" if against else ""
            reasons.append(f"{names[belief.fault].name}: {percent(belief.probability)}{reason}")
        blocks += [Para(text="Ruled out for practical purposes:"), Bullets(items=tuple(reasons))]
    findings = {f.id: f for f in verdict.findings}
    for conflict in verdict.conflicts:
        finding = findings[conflict.finding]
        text = f"{finding.id}, {finding.name} ({finding.text}) {conflict.text}."
        blocks.append(Warn(level="notice", text=sentence(text)))
    return tuple(blocks)


def _next(assessment: Assessment) -> tuple[Block, ...]:
    plan, system = assessment.plan, assessment.system
    say = {
        "check": "Go on checking: the first line pays for itself in what it saves.",
        "repair": "Stop looking: no further check would pay for itself. Repair and prove.",
        "prove": "The repair is done and waits for its proof.",
        "proved": "The repair is proved.",
    }[assessment.stage]
    rows = tuple(
        (
            sentence(system.checks[o.check].name).rstrip("."),
            time_text(o),
            money(o.saving, plan.currency) if o.saving > 0 else "does not pay",
        )
        for o in plan.offers[:5]
    )
    columns = (
        Column(title="Check", share=4),
        Column(title="Time with access", align="right", share=2),
        Column(title="Expected saving", align="right", share=1.5),
    )
    table = Table(columns=columns, rows=rows)
    return (Para(text=say), table) if rows and not assessment.job.repaired else (Para(text=say),)


def _options(assessment: Assessment) -> tuple[Block, ...]:
    currency = assessment.system.tariff.currency
    rows = tuple(
        (
            sentence(option_name(assessment.system, o)).rstrip("."),
            money(o.price.total, currency, o.price.std),
            f"{o.price.labour_minutes:.0f} min",
            percent(o.cure),
            percent(o.come_back),
            money(o.expected_total, currency),
        )
        for o in assessment.options[:7]
    )
    table = Table(
        columns=(
            Column(title="Option", share=3.4),
            Column(title="Price", align="right", share=1.5),
            Column(title="Labour", align="right", share=1),
            Column(title="Cures", align="right", share=0.9),
            Column(title="Comes back", align="right", share=1),
            Column(title="Expected total", align="right", share=1.2),
        ),
        rows=rows,
        strong=(0,),
        caption="All amounts without tax. Expected total: the price and what come-backs are "
        "expected to cost, without spread, because nobody knows how a come-back's cost spreads.",
    )
    ways = ((o, come_back_text(assessment.system, o)) for o in assessment.options[:7] if o.repairs)
    reasons = tuple(
        f"{sentence(option_name(assessment.system, o)).rstrip('.')}, "
        f"comes back {percent(o.come_back)}: {way}"
        for o, way in ways
        if way
    )
    return (table, Bullets(items=reasons)) if reasons else (table,)


def _done(assessment: Assessment) -> tuple[Block, ...]:
    job, system = assessment.job, assessment.system
    if not job.repaired:
        return ()
    who = f"by {job.repaired_by}" if job.repaired_by else "by whom: not noted"
    items = tuple(sentence(system.repairs[r].name) for r in job.repaired)
    return (
        Bullets(items=items),
        Para(text=f"Last repair: {when(job.repaired_at)}, {who}.", tone="quiet"),
    )


def _proofs(assessment: Assessment) -> tuple[Block, ...]:
    if not assessment.proofs:
        return ()
    rows = tuple(
        (
            proof_text(assessment.system, due),
            due.judged.result if due.judged else "not done",
            due.judged.text if due.judged else due.proof.text,
        )
        for due in assessment.proofs
    )
    columns = (
        Column(title="Test and limit", share=3),
        Column(title="Result", share=0.9),
        Column(title="Why, or what came out", share=3.4),
    )
    readings = tuple(
        (
            due.proof.check,
            r.name,
            Own(r.text),
            _with_spread(assessment.system, due.finding, r),
            r.taken_at[:16].replace("T", " ") or "not noted",
        )
        for due in assessment.proofs
        if due.finding is not None
        for r in due.finding.readings
    )
    table = Table(columns=columns, rows=rows)
    if not readings:
        return (table,)
    heads = ("Proof", "Reading", "As typed", "With spread", "Taken")
    typed = Table(
        columns=tuple(Column(title=head) for head in heads),
        rows=readings,
        caption="Readings of the proofs.",
    )
    return (table, typed)


def _cautions(assessment: Assessment) -> tuple[Block, ...]:
    repairs = assessment.job.repaired or (
        assessment.options[0].repairs if assessment.options else ()
    )
    cautions = repair_cautions(assessment, repairs)
    return tuple(
        Warn(level=level, text=" ".join(caution.text for caution in group))
        for level, group in groupby(cautions, key=lambda c: c.level)
    )


def _basis(assessment: Assessment) -> tuple[Block, ...]:
    facts = assessment.facts
    assumed = {fact.id for fact in facts.assumed}
    rows = tuple(
        (
            sentence(fact.name).rstrip("."),
            f"{from_si(facts.values[fact.id].value, fact.unit):.3g}"
            + (
                f" ± {from_si(facts.values[fact.id].std, fact.unit) - from_si(0.0, fact.unit):.2g}"
                if facts.values[fact.id].std
                else ""
            )
            + f" {fact.unit}",
            "assumed" if fact.id in assumed else "as typed",
        )
        for fact in assessment.system.layout.facts
        if fact.std
    )
    columns = (
        Column(title="Vehicle data", share=4),
        Column(title="Value", align="right", share=2),
        Column(title="Source", share=1),
    )
    sources = assessment.system.sources
    named = [sources[f.basis] for f in assessment.facts.assumed]
    named += [sources[assessment.system.tariff.basis]]
    items = dict.fromkeys(f"{s.kind.replace('_', ' ')}: {s.text}" for s in named)
    return (Table(columns=columns, rows=rows), Bullets(items=tuple(items)))
