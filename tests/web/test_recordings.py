"""Recordings in the workbench: sent, corrected, attached, drawn; refused in words.

The lowest and highest of a window are taken from the samples themselves (numpy), not from the
program's own thinning.
"""

from __future__ import annotations

import io
import struct
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
import pytest
from axe_playwright_python.sync_playwright import Axe
from fastapi.testclient import TestClient
from playwright.sync_api import BrowserContext, FilePayload, Page, expect

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Query
from sagtrace.errors import InputError, UnknownIdError
from sagtrace.web.app import build_app
from sagtrace.web.readings import Readings
from sagtrace.web.tasks import Tasks
from workbench import Bench, fresh_desk

ROWS = 2400
HEIGHT, RELAY = "Sensor 7 [mm]", "Relay 3"


def table(rows: int = ROWS) -> pl.DataFrame:
    """Return an invented axle that sinks 8 mm a minute and is filled every 100 s, at 2 Hz."""
    rng = np.random.default_rng(3)
    t = np.arange(rows) / 2.0
    running = (t % 100.0) > 90.0
    height = 400.0 + np.cumsum(np.where(running, 1.2, -8.0 / 60.0)) / 2.0
    return pl.DataFrame(
        {
            "Time [s]": t,
            HEIGHT: np.round(height + rng.normal(0.0, 0.2, rows), 1),
            RELAY: running.astype(int),
            "Battery voltage [V]": np.round(12.4 + rng.normal(0.0, 0.03, rows), 2),
            "Outside temperature [°C]": np.full(rows, 9.0),
        }
    )


def csv(frame: pl.DataFrame) -> bytes:
    held = io.BytesIO()
    frame.write_csv(held)
    return held.getvalue()


@pytest.fixture(scope="module")
def sent() -> bytes:
    return csv(table())


@dataclass(frozen=True, kw_only=True)
class Api:
    """The API of one workbench, at its one job."""

    client: TestClient
    desk: Desk
    job: str

    @property
    def root(self) -> str:
        return f"/api/v1/jobs/{self.job}/recordings"

    @property
    def readings(self) -> Readings:
        found = self.client.app.state.readings  # type: ignore[attr-defined]
        assert isinstance(found, Readings)
        return found

    def inspect(self, data: bytes, **asked: str) -> Any:
        return self.client.post(f"{self.root}/inspect", params=asked, content=data)

    def attach(self, sha256: str, key: str = "k1", **body: Any) -> Any:
        roles = {"Sensor 7": "height.rear [mm]", "Relay 3": "pump.command"}
        said = {"sha256": sha256, "roles": roles, "by": "technician 2", **body}
        return self.client.post(self.root, json=said, headers={"Idempotency-Key": key})

    def wait(self, task: str) -> dict[str, Any]:
        for _ in range(600):
            found: dict[str, Any] = self.client.get(f"{self.root}/tasks/{task}").json()
            if found["state"] in ("done", "failed"):
                return found
            time.sleep(0.05)
        pytest.fail("the task does not end")


def only_job(desk: Desk) -> str:
    return desk.jobs(Query()).lines[0].id


@pytest.fixture
def api() -> Iterator[Api]:
    desk = fresh_desk()
    app = build_app(desk)
    with TestClient(
        app, base_url="http://127.0.0.1", client=("127.0.0.1", 5000), raise_server_exceptions=False
    ) as client:
        yield Api(client=client, desk=desk, job=only_job(desk))


# --- on their way


def test_a_file_is_read_corrected_and_attached_once(api: Api, sent: bytes) -> None:
    found = api.inspect(sent, file="C:\\logs\\drive.csv").json()
    assert found["file"] == "drive.csv"
    assert found["samples"] == ROWS
    columns = {c["name"]: c for c in found["columns"]}
    assert columns["Battery voltage"]["role"] == "supply"
    assert not columns["Sensor 7"]["role"]
    tapes = [{"time": "1 min", "corner": c, "height": "396 mm"} for c in ("left", "right")]
    answer = api.attach(found["sha256"], tapes=tapes)
    assert answer.status_code == 202
    assert answer.headers["location"].endswith(answer.json()["task"])
    done = api.wait(answer.json()["task"])
    assert done["state"] == "done", done
    assert done["result"]["recording"] == "r2"
    kept = api.desk.open(api.job)
    recording = kept.job.recordings[-1]
    assert kept.changed_by == "technician 2"
    assert recording.roles["Sensor 7"] == "height.rear [mm]"
    assert [tape.corner for tape in recording.tapes] == ["left", "right"]
    # What it says is evidence of the verdict.
    assert "r2" in {f.source for f in api.desk.judged(kept).verdict.findings}
    # The same request again is told the same and changes nothing.
    again = api.attach(found["sha256"], tapes=tapes)
    assert again.json()["result"]["recording"] == "r2"
    assert api.desk.open(api.job).revision == kept.revision
    # The file itself again is refused in words, and does not stay.
    refused = api.inspect(sent, file="other.csv")
    assert refused.status_code == 422
    assert refused.json()["detail"] == "other.csv is attached already, as r2; it counts once."
    assert api.readings.uploads.of(api.job) == ()


def test_a_column_that_is_not_clear_must_be_said(api: Api) -> None:
    unclear = table().with_columns(pl.col(HEIGHT).alias("Level [mm]")).drop(HEIGHT)
    found = api.inspect(csv(unclear), file="level.csv").json()
    assert [c["name"] for c in found["columns"] if c["unsettled"]] == ["Level"]
    answer = api.attach(found["sha256"], roles={"Relay 3": "pump.command"})
    assert answer.status_code == 422
    assert "'Level'" in answer.json()["detail"]
    assert "--role" not in answer.text
    out = api.attach(found["sha256"], key="k2", roles={"Relay 3": "pump.command", "Level": "-"})
    failed = api.wait(out.json()["task"])
    assert failed["state"] == "failed"
    assert "height" in failed["problem"]
    assert [r.id for r in api.desk.open(api.job).job.recordings] == ["r1"]
    page = api.client.get(f"/jobs/{api.job}/recordings", params={"file": found["sha256"]})
    assert "Not attached:" in page.text
    assert failed["problem"] in page.text.replace("&#39;", "'")


def test_a_unit_beside_a_role_counts(api: Api, sent: bytes) -> None:
    sha256 = api.inspect(sent, file="drive.csv").json()["sha256"]
    roles = {"Sensor 7": "height.rear", "Relay 3": "pump.command", "Battery voltage": ""}
    taped = {"0.time": "1 min", "0.corner": "left", "0.height": "396 mm", "1.corner": "right"}
    answer = api.attach(sha256, roles=roles, units={"Sensor 7": "mm", "Relay 3": ""}, taped=taped)
    done = api.wait(answer.json()["task"])
    assert done["state"] == "done", done
    recording = api.desk.open(api.job).job.recordings[-1]
    assert recording.roles["Sensor 7"] == "height.rear [mm]"
    assert recording.roles["Battery voltage"] == "supply [V]"
    assert len(recording.tapes) == 1


def test_a_file_without_a_time_asks_for_a_rate(api: Api) -> None:
    found = api.inspect(csv(table().drop("Time [s]")), file="bare.csv").json()
    assert found["columns"] == []
    assert "such as 10 Hz" in found["problem"]
    assert "--" not in found["problem"]
    page = api.client.get(f"/jobs/{api.job}/recordings", params={"file": found["sha256"]})
    assert "How many samples a second?" in page.text
    again = api.inspect(b"", sha256=found["sha256"], rate="2 Hz").json()
    assert again["problem"] == ""
    assert again["samples"] == ROWS
    wrong = api.inspect(b"", sha256=found["sha256"], rate="2 bar")
    assert wrong.status_code == 422


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"\x1f\x8b" + bytes(40), "gzip"),
        (b"\x89PNG\r\n" + bytes(40), "picture"),
        (b"Time [s],height.rear [mm]\n0,1\n1,2\n", "at least"),
    ],
)
def test_what_is_no_recording_is_refused_and_not_kept(api: Api, data: bytes, says: str) -> None:
    answer = api.inspect(data, file="odd.csv")
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert says in answer.json()["detail"]
    assert api.readings.uploads.of(api.job) == ()
    assert list(api.readings.uploads._folder.iterdir()) == []
    assert len(api.desk.open(api.job).job.recordings) == 1


def test_too_much_is_refused_before_and_while_it_comes(api: Api, sent: bytes) -> None:
    api.readings.uploads.largest = 1000
    told = api.inspect(sent, file="drive.csv")
    parts = iter([sent[i : i + 400] for i in range(0, 4000, 400)])
    untold = api.client.post(f"{api.root}/inspect", content=parts)
    for answer in (told, untold):
        assert answer.status_code == 413
        assert "shorter stretch" in answer.json()["detail"]
    assert list(api.readings.uploads._folder.iterdir()) == []


def test_what_is_unknown_is_named(api: Api) -> None:
    assert api.client.get(f"{api.root}/tasks/none").status_code == 404
    assert api.client.get(f"{api.root}/r9/channels").status_code == 404
    assert api.client.get(f"/jobs/{api.job}/recordings/r9").status_code == 404
    assert api.attach("0" * 64).status_code == 422
    assert api.attach("no digest").status_code == 422
    gone = api.client.get(f"/jobs/{api.job}/recordings", params={"file": "0" * 64})
    assert "not here any more" in gone.text


def test_a_page_without_a_script_does_the_same(api: Api, sent: bytes) -> None:
    root = f"/jobs/{api.job}/recordings"
    files = {"recording": ("drive.csv", sent, "text/csv")}
    page = api.client.post(f"{root}/send", files=files)
    sha256 = page.url.params["file"]
    assert "What the columns are" in page.text
    fields = {
        "sha256": sha256,
        "key": "k5",
        "roles.Sensor 7": "height.rear [mm]",
        "roles.Relay 3": "pump.command",
    }
    api.client.post(f"{root}/attach", data=fields)
    task = api.readings.tasks.about(api.job, sha256)
    assert task is not None
    assert api.wait(task.id)["state"] == "done"
    assert api.client.get(root, params={"file": sha256}).url.path.endswith("/r2")


@dataclass
class Memory:
    """What columns were, kept for one test."""

    roles: dict[tuple[str, str], str] = field(default_factory=dict)

    def recall(self) -> Mapping[tuple[str, str], str]:
        return self.roles

    def keep(self, roles: Mapping[tuple[str, str], str]) -> None:
        self.roles |= roles


def test_what_was_corrected_is_remembered_if_asked(
    api: Api, sent: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    memory = Memory()
    monkeypatch.setattr(api.desk.workshop, "role_memory", memory)
    found = api.inspect(sent, file="drive.csv").json()
    roles = {
        "Sensor 7": "height.rear [mm]",
        "Relay 3": "pump.command",
        "Outside temperature": "-",
    }
    answer = api.attach(found["sha256"], roles=roles, remember=True)
    assert api.wait(answer.json()["task"])["result"]["remembered"] == "2"
    assert memory.roles == {
        ("Sensor 7", "mm"): "height.rear [mm]",
        ("Relay 3", ""): "pump.command [-]",
    }
    other = api.inspect(csv(table(600)), file="next.csv").json()
    assert {c["role"] for c in other["columns"]} >= {"height.rear", "pump.command"}


def test_a_task_says_how_far_it_is_and_starts_once() -> None:
    tasks, go, runs = Tasks(), threading.Event(), []

    def work(say: Callable[[str], None]) -> dict[str, str]:
        runs.append(1)
        say("Reading.")
        go.wait(5)
        return {"recording": "r1"}

    first = tasks.start("job", "key", work, what="a.csv", subject="a")
    assert tasks.start("job", "key", work, what="a.csv", subject="a") is first
    second = tasks.start("job", "other", work, what="b.csv", subject="b")
    while first.said != "Reading.":
        time.sleep(0.005)
    tasks.say("Compiling the virtual vehicle, once on this machine.")  # as the first fit does
    assert first.said.startswith("Compiling")
    assert second.state == "waiting"
    with pytest.raises(InputError, match="used for another request"):
        tasks.start("job", "key", work, what="a.csv", subject="a", request="else")
    with pytest.raises(UnknownIdError):
        tasks.get("other job", first.id)
    go.set()
    assert first.over.wait(5)
    assert second.over.wait(5)
    assert first.result == {"recording": "r1"}
    assert len(runs) == 2


# --- samples


def floats(answer: Any) -> np.ndarray[Any, np.dtype[np.float32]]:
    n = int(answer.headers["x-samples"])
    values = struct.unpack(f"<{len(answer.content) // 4}f", answer.content)
    return np.array(values, dtype=np.float32).reshape(int(answer.headers["x-rows"]) + 1, n)


def test_thinned_samples_keep_the_extremes_of_every_channel(api: Api) -> None:
    scheme = api.client.get(f"{api.root}/r1/channels").json()
    trace = api.desk.recorded(api.desk.open(api.job), "r1").trace
    window = {"from": 300.0, "to": 900.0, "width": 60}
    answer = api.client.get(f"{api.root}/r1/samples", params=window)
    assert answer.headers["content-type"] == "application/octet-stream"
    x, *rows = floats(answer)
    assert len(rows) == len(scheme["rows"])
    assert len(x) <= 2 * 60 + 4
    times = float(answer.headers["x-start"]) + x
    assert np.all(np.diff(times) > 0.0)
    inside = (trace.time >= 300.0) & (trace.time <= 900.0)
    shown = {"mm": 1e3, "": 1.0, "V": 1.0}
    for row, values in zip(scheme["rows"], rows, strict=True):
        if row["what"] not in ("measured", "command") or row["unit"] not in shown:
            continue
        true = shown[row["unit"]] * trace.channels[row["name"]][inside]
        kept = (times >= 300.0) & (times <= 900.0)
        assert values[kept].min() <= np.float32(true.min())
        assert values[kept].max() >= np.float32(true.max())


def test_a_narrow_window_has_every_sample_and_one_on_either_side(api: Api) -> None:
    answer = api.client.get(f"{api.root}/r1/samples", params={"from": 100.2, "to": 103.2})
    times = float(answer.headers["x-start"]) + floats(answer)[0]
    np.testing.assert_allclose(times, np.arange(100.0, 103.6, 0.5))


def test_celsius_is_shown_as_recorded(api: Api) -> None:
    scheme = api.client.get(f"{api.root}/r1/channels").json()
    number = [r["name"] for r in scheme["rows"]].index("ambient")
    rows = floats(api.client.get(f"{api.root}/r1/samples"))
    np.testing.assert_allclose(rows[1 + number], 9.0, atol=1e-3)


@pytest.mark.parametrize(
    "window",
    [
        {"from": "soon"},
        {"from": "nan"},
        {"to": "inf"},
        {"from": 9, "to": 9},
        {"from": 20, "to": 10},
        {"from": 1e6, "to": 2e6},
        {"from": -20, "to": -10},
        {"width": 0},
        {"width": 100000},
    ],
)
def test_a_window_that_cannot_be_right_is_refused(api: Api, window: dict[str, Any]) -> None:
    answer = api.client.get(f"{api.root}/r1/samples", params=window)
    assert answer.status_code == 422
    assert answer.json()["detail"]


def test_every_row_has_a_panel_of_its_unit(api: Api) -> None:
    scheme = api.client.get(f"{api.root}/r1/channels").json()
    placed = sorted(r for panel in scheme["panels"] for r in panel["rows"])
    assert placed == list(range(len(scheme["rows"])))
    for panel in scheme["panels"]:
        assert {scheme["rows"][r]["unit"] for r in panel["rows"]} == {panel["unit"]}
    assert {"hold", "fill"} <= {shade["kind"] for shade in scheme["shades"]}


# --- in a browser


def settled(page: Page) -> None:
    page.wait_for_selector("#plots[data-drawn]")


def windows(page: Page) -> set[tuple[float, float]]:
    """Return the windows of all panels once they are drawn: one, if they move together."""
    place = page.locator(".plots-panels")
    wanted = place.get_attribute("data-wanted") or ""
    expect(place).to_have_attribute("data-shown", wanted)
    found = page.eval_on_selector_all(
        ".panel", "all => all.map((p) => [Number(p.dataset.from), Number(p.dataset.to)])"
    )
    return {(round(a, 3), round(b, 3)) for a, b in found}


@pytest.fixture
def job(bench: Bench) -> str:
    return only_job(bench.desk)


def test_a_recording_goes_from_file_to_finding(
    page: Page, bench: Bench, job: str, sent: bytes
) -> None:
    page.goto(f"/jobs/{job}/recordings")
    file: FilePayload = {"name": "drive.csv", "mimeType": "text/csv", "buffer": sent}
    page.set_input_files("#recording", file)
    expect(page.get_by_role("heading", name="What the columns are")).to_be_visible()
    column = page.get_by_role("group", name="Sensor 7")
    column.get_by_label("It is").select_option(label="height, rear")
    page.get_by_role("group", name="Relay 3").get_by_label("It is").select_option("pump.command")
    assert Axe().run(page).violations_count == 0
    page.reload()  # nothing that was typed is lost
    expect(column.get_by_label("It is")).to_have_value("height.rear")
    page.get_by_role("button", name="Attach it to the job").click()
    page.wait_for_url("**/recordings/r2")
    settled(page)
    expect(page.get_by_text("leak of the rear axle").first).to_be_visible()
    judged = bench.desk.judged(bench.desk.open(job))
    found = next(f for f in judged.verdict.findings if f.id == "r2.leak")
    expect(page.get_by_text(found.text)).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_damaged_file_says_why(context: BrowserContext, bench: Bench, job: str) -> None:
    # A page of its own, because a browser notes a refused request on its console.
    page = context.new_page()
    page.goto(f"/jobs/{job}/recordings")
    damaged = b"\x1f\x8b" + bytes(99)
    file: FilePayload = {"name": "drive.csv", "mimeType": "text/csv", "buffer": damaged}
    page.set_input_files("#recording", file)
    expect(page.get_by_role("alert")).to_contain_text("gzip")
    expect(page.locator(".way")).to_be_hidden()
    assert len(bench.desk.open(job).job.recordings) == 1


def test_keys_move_all_panels(page: Page, job: str) -> None:
    page.goto(f"/jobs/{job}/recordings/r1")
    settled(page)
    whole = windows(page)
    assert len(whole) == 1
    page.locator(".plots-panels").focus()
    page.keyboard.press("+")
    (closer,) = windows(page)
    ((start, end),) = whole
    assert closer[1] - closer[0] == pytest.approx((end - start) / 2.0, rel=0.01)
    page.keyboard.press("ArrowRight")
    (later,) = windows(page)
    assert later[0] - closer[0] == pytest.approx(0.2 * (closer[1] - closer[0]), rel=0.01)
    page.keyboard.press("End")
    ((_, last),) = windows(page)
    assert last == end
    page.keyboard.press("Home")
    ((first, _),) = windows(page)
    assert first == start
    page.keyboard.press("Shift+ArrowRight")
    expect(page.locator(".panel output").first).to_contain_text("mm")
    expect(page.locator(".plots-window")).to_contain_text("read at")
    page.keyboard.press("Escape")
    assert windows(page) == whole


TOUCH = """(over, points) => {
  const box = over.getBoundingClientRect();
  for (const [type, id, x] of points) {
    over.dispatchEvent(new PointerEvent(type, {
      pointerId: id, pointerType: "touch", bubbles: true, clientX: box.left + x * box.width,
      clientY: box.top + 30,
    }));
  }
}"""


def test_fingers_mark_a_stretch_and_pinch(page: Page, job: str) -> None:
    page.goto(f"/jobs/{job}/recordings/r1")
    settled(page)
    ((start, end),) = windows(page)
    over = page.locator(".panel .u-over").nth(1)
    one = [("pointerdown", 1, 0.2), ("pointermove", 1, 0.5), ("pointerup", 1, 0.5)]
    over.evaluate(TOUCH, one)
    ((a, b),) = windows(page)
    assert a == pytest.approx(start + 0.2 * (end - start), abs=0.02 * (end - start))
    assert b == pytest.approx(start + 0.5 * (end - start), abs=0.02 * (end - start))
    two = [
        ("pointerdown", 1, 0.4),
        ("pointerdown", 2, 0.6),
        ("pointermove", 1, 0.3),
        ("pointermove", 2, 0.7),
        ("pointerup", 1, 0.3),
        ("pointerup", 2, 0.7),
    ]
    over.evaluate(TOUCH, two)
    ((c, d),) = windows(page)
    assert d - c == pytest.approx((b - a) / 2.0, rel=0.05)
    assert (c + d) / 2.0 == pytest.approx((a + b) / 2.0, abs=0.03 * (b - a))


def test_sentences_and_marks_lead_to_each_other(page: Page, job: str) -> None:
    page.goto(f"/jobs/{job}/recordings/r1")
    settled(page)
    ((start, end),) = windows(page)
    page.get_by_role("button", name="Show where").nth(1).click()
    ((a, b),) = windows(page)
    assert b - a < (end - start) / 4.0
    page.locator(".mark:visible").first.click()
    expect(page.locator(".finding.pointed")).to_be_focused()
    page.get_by_text("Everything that happened, in order").click()
    page.get_by_role("button", name="Show fill from").nth(2).click()
    ((c, d),) = windows(page)
    assert (c, d) != (a, b)
    assert Axe().run(page).violations_count == 0


def test_no_recording_yet_says_what_to_record(page: Page, bench: Bench) -> None:
    client = TestClient(
        build_app(bench.desk), base_url="http://127.0.0.1", client=("127.0.0.1", 5000)
    )
    job = client.post("/api/v1/jobs", json={"complaint": "low"}).json()["job"]
    page.goto(f"/jobs/{job}/recordings")
    expect(page.get_by_text("No recording yet.")).to_be_visible()
    expect(page.get_by_role("heading", name="What to record")).to_be_visible()
    assert Axe().run(page).violations_count == 0
