"""Every page of the workbench in every state that looks different, for whoever walks through them.

The jobs are the invented demonstration, or what is left of it, and jobs with next to nothing.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from urllib.request import Request, urlopen

from playwright.sync_api import Page

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.vehicle.job import Approval, Begun, Entry, Job, Work
from workbench import Bench, fresh_desk

__all__ = ["LOOKS", "Look", "desk_of_everything", "go", "send_recording"]

AT = "2026-11-25T07:00:00+00:00"
HOLD, FILL = "hold.overnight@left", "pump.fill-test"
TABLE = b"Time [s],Sensor 7 [mm],Relay 3\n" + b"".join(
    b"%d,%.1f,%d\n" % (t, 400 - t / 10, t % 100 > 90) for t in range(600)
)
NIGHT = {"height-start": "404 mm", "height-end": "403 mm", "time": "11 h",
         "temperature-start": "9 °C", "temperature-end": "7 °C"}  # fmt: skip
FILLED = {"pressure-start": "0 bar", "pressure-end": "8 bar", "time": "95 s", "volume": "5 L",
          "supply": "13 V"}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Look:
    """A page in one of its states."""

    name: str
    path: str  # {sent}: the name of a file that was sent
    status: int = 200
    ready: str = "main"  # the selector that tells that it is all there
    refused: str = ""  # the form on it that is sent, as without a script, and refused


# Two of those that lie side by side and look alike are enough.
UNFOLD = """() => {
  for (const d of document.querySelectorAll("details")) {
    const alike = [...d.parentElement.children].filter((e) => e.className === d.className);
    d.open = alike.indexOf(d) < 2;
  }
}"""
PLOTS = "#plots[data-drawn]"
PLACES = ("evidence", "verdict", "vehicle", "recordings", "repair", "papers")
LOOKS = (
    Look(name="jobs", path="/"),
    Look(name="jobs-none-fits", path="/?text=trailer&stage=proved"),
    Look(name="new", path="/new"),
    Look(name="settings", path="/settings"),
    Look(name="settings-kept", path="/settings?saved=1"),
    Look(name="calculators", path="/calculators"),
    Look(name="calculator", path="/calculators/leak-from-drop"),
    Look(name="calculator-answered", path="/calculators/joint?drop=0.5+V&current=20+A"),
    Look(name="calculator-refused", path="/calculators/joint?drop=half+a+volt&current=20+A"),
    *(
        Look(name=f"{job}-{place or 'step'}", path=f"/jobs/{job}/{place}".rstrip("/"))
        for job in ("demo", "fresh", "wrong")
        for place in ("", *PLACES)
    ),
    *(
        Look(name=f"practice-{place or 'step'}", path=f"/jobs/practice/{place}".rstrip("/"))
        for place in ("", "evidence", "repair")
    ),
    Look(name="demo-checks", path="/jobs/demo/checks"),
    Look(name="demo-checks-found", path="/jobs/demo/checks?text=hold&kind=measure"),
    Look(name="demo-check-choices", path="/jobs/demo/checks/soap.fold-normal@left"),
    Look(name="demo-check-correct", path="/jobs/demo/checks/feed.loss?corrects=e14"),
    Look(name="fresh-check-numbers", path="/jobs/fresh/checks/feed.loss"),
    Look(
        name="fresh-check-refused",
        path="/jobs/fresh/checks/feed.loss",
        status=422,
        refused="answer-feed.loss",
    ),
    Look(name="fresh-check-long", path=f"/jobs/fresh/checks/{HOLD}"),
    Look(name="demo-vehicle-part", path="/jobs/demo/vehicle?part=pump"),
    Look(name="demo-recording", path="/jobs/demo/recordings/r1", ready=PLOTS),
    Look(name="fresh-columns", path="/jobs/fresh/recordings?file={sent}"),
    Look(name="demo-paper-customer", path="/jobs/demo/papers/customer"),
    Look(name="demo-paper-technical", path="/jobs/demo/papers/technical"),
    Look(name="wrong-paper", path="/jobs/wrong/papers/customer"),
    Look(name="waiting-step", path="/jobs/waiting"),
    Look(name="practice-hidden", path="/jobs/practice/hidden"),
    Look(name="practice-revealed", path="/jobs/practice/hidden?reveal=1"),
    Look(name="waiting-check", path=f"/jobs/waiting/checks/{HOLD}"),
    Look(name="offered-repair", path="/jobs/offered/repair"),
    *(
        Look(name=f"{job}-{place or 'step'}", path=f"/jobs/{job}/{place}".rstrip("/"))
        for job in ("repaired", "proved")
        for place in ("", "evidence", "repair")
    ),
    Look(name="repaired-proof", path=f"/jobs/repaired/checks/{FILL}?proof=1"),
    Look(name="no-such-page", path="/nothing", status=404),
    Look(name="no-such-job", path="/jobs/nobody", status=404),
    Look(name="no-such-check", path="/jobs/demo/checks/soap.fold", status=404),
    Look(name="no-such-part", path="/jobs/demo/vehicle?part=wing", status=422),
    Look(name="no-such-paper", path="/jobs/demo/papers/bill", status=404),
    Look(name="no-such-recording", path="/jobs/demo/recordings/r9", status=404),
    Look(name="no-such-calculator", path="/calculators/none", status=404),
)


def desk_of_everything() -> Desk:
    """Return a desk with a job in every stage."""
    desk = fresh_desk()
    demo = desk.open("demo").job
    best = desk.assessed(desk.open("demo")).options[0].repairs
    bare = Job(id="fresh", title="Order 7", layout="rear-pair", complaint="It sinks over night.")
    offer = Approval(id="a1", repairs=best, offered="612 ± 40 € with tax", at=AT)
    yes = replace(offer, id="a2", answer="approved", how="in person", who="the owner")
    work = Work(id="w1", repairs=best, at=AT, entries=len(demo.entries))
    worked = replace(demo, recordings=(), approvals=(offer, yes), works=(work,))
    proofs = (
        Entry(id="p1", check=HOLD, values=NIGHT, at=AT),
        Entry(id="p2", check=FILL, values=FILLED, at=AT),
        Entry(id="p3", check="try.lift", outcome="normal", at=AT),
    )
    slip = Entry(id="e1", check="soap.fold-normal@left", outcome="perhaps")
    for job in (
        bare,
        replace(bare, id="practice", title="Practice 3", practice=3),
        replace(bare, id="wrong", title="An invented slip", entries=(slip,)),
        replace(bare, id="waiting", title="Order 8"),
        replace(demo, id="offered", recordings=(), approvals=(offer,)),
        replace(worked, id="repaired", begun=(Begun(id="b1", check=HOLD, at=AT, ready=AT),)),
        replace(worked, id="proved", proofs=proofs),
    ):
        desk.store.add(job, Mark(what="import", at=AT), {})
    desk.begin("waiting", Begun(id="", check=HOLD), Mark(what="begin", at=AT))
    moved = Entry(id="", check="soap.fold-normal@left", outcome="bubbles")
    desk.answer("waiting", moved, Mark(what="answer", at=AT))
    return desk


def send_recording(bench: Bench) -> str:
    """Send a recording that is not attached, and return its name."""
    address = f"{bench.url}/api/v1/jobs/fresh/recordings/inspect?file=drive.csv"
    headers = {"Content-Type": "application/octet-stream"}
    with urlopen(Request(address, data=TABLE, headers=headers), timeout=60) as answer:
        return str(json.load(answer)["sha256"])


def go(page: Page, look: Look, sent: str, *, unfold: bool = True) -> None:
    """Open a page, wait until it is all there, and unfold what is folded."""
    answer = page.goto(look.path.format(sent=sent))
    if look.refused:
        with page.expect_navigation() as found:
            page.locator(f"form[id='{look.refused}']").evaluate("f => { f.submit(); }")
        answer = found.value
    assert answer is not None
    assert answer.status == look.status, f"{look.name}: {answer.status} at {look.path}"
    page.wait_for_selector(look.ready, state="attached")
    if unfold:
        page.evaluate(UNFOLD)
