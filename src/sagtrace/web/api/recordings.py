"""Recordings: sent, looked into, attached, and their samples for drawing."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request, Response
from pydantic import BaseModel, Field

from sagtrace.app.plain import plain
from sagtrace.errors import InputError
from sagtrace.signals.imported import Assignment
from sagtrace.vehicle.job import Taped
from sagtrace.web.asking import Asked, Reading
from sagtrace.web.bodies import ChangeBody, Line
from sagtrace.web.readings import Attach, Inspected, Readings
from sagtrace.web.tasks import State, Task
from sagtrace.web.uploads import file_name

__all__ = ["AttachBody", "readings_of", "router", "said_of", "TaskAnswer"]

router = APIRouter(prefix="/jobs/{job}/recordings", tags=["recordings"])

Recording = Annotated[str, Path(max_length=40)]
Seconds = Annotated[float, Query(allow_inf_nan=False, description="On the recording's clock")]
FIRST, LAST = -1e12, 1e12  # [s] before and after any recording


class GuessAnswer(BaseModel):
    """A role that a column may have."""

    role: str
    unit: str
    confidence: float
    reason: str


class ColumnAnswer(BaseModel):
    """A column: what it was taken for, and what else it may be."""

    name: str
    unit: str
    role: str = Field(description="Empty: it is not used")
    role_unit: str
    confidence: float
    reason: str
    unsettled: bool = Field(description="A person must say what it is, or leave it out")
    guesses: list[GuessAnswer] = Field(description="Best first")


class InspectAnswer(BaseModel):
    """What is in a file that was sent."""

    sha256: str
    file: str
    size: int = Field(description="Bytes")
    rate: str
    problem: str = Field(description="What has to be said before it can be read, such as a rate")
    samples: int
    sentences: list[str] = Field(description="What was read, repaired, refused and ignored")
    columns: list[ColumnAnswer]

    @classmethod
    def of(cls, found: Inspected) -> InspectAnswer:
        """Return the answer for a file."""
        report = found.report
        return cls(
            sha256=found.upload.sha256, file=found.upload.name, size=found.upload.size,
            rate=found.rate, problem=found.problem, samples=report.samples if report else 0,
            sentences=list(report.sentences()) if report else [],
            columns=[
                ColumnAnswer(
                    name=c.name, unit=c.unit, role=c.role, role_unit=c.role_unit,
                    confidence=c.confidence, reason=c.reason, unsettled=c.unsettled,
                    guesses=[GuessAnswer(**plain(g)) for g in c.guesses],
                )
                for c in found.columns
            ],
        )  # fmt: skip


class TapeBody(BaseModel):
    """A height that was taped at a wheel arch while it recorded, as typed."""

    time: Line = Field(description="On the recording's own clock: '12 min'")
    corner: Line
    height: Line = Field(description="'385 mm'")


class AttachBody(ChangeBody):
    """What a person says of a file that was sent."""

    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    file: Line = Field("", description="Its name in the job; empty: as it was sent")
    roles: Annotated[dict[str, Line], Field(max_length=2000)] = Field(
        default_factory=dict,
        description="By column: 'height.rear [mm]'; '-' leaves it out, an empty text takes the "
        "proposal",
    )
    units: Annotated[dict[str, Line], Field(max_length=2000)] = Field(
        default_factory=dict, description="By column, where its role has no unit beside it"
    )
    rate: Line = Field("", description="'10 Hz', for a file without a time")
    tapes: list[TapeBody] = Field(default_factory=list, max_length=100)
    taped: Annotated[dict[str, Line], Field(max_length=300)] = Field(
        default_factory=dict, description="The same as a form sends it: '0.time', '0.corner' …"
    )
    remember: bool = Field(False, description="Keep the roles for the next recordings")


class TaskAnswer(BaseModel):
    """How far a task is."""

    task: str
    state: State
    said: str = Field(description="How far it is, in words")
    result: dict[str, str] = Field(description="What came of it, such as the recording's id")
    problem: str = Field(description="Why it failed; nothing was kept then")

    @classmethod
    def of(cls, task: Task) -> TaskAnswer:
        """Return the answer for a task."""
        return cls(
            task=task.id, state=task.state, said=task.said, result=dict(task.result),
            problem=task.problem,
        )  # fmt: skip


def readings_of(request: Request) -> Readings:
    """Return the recordings of the workbench."""
    found = request.app.state.readings
    assert isinstance(found, Readings)
    return found


@router.post("/inspect", openapi_extra={
    "requestBody": {"content": {"application/octet-stream": {}}, "required": False}
})  # fmt: skip
async def inspect(
    request: Request,
    job: str,
    file: Annotated[str, Query(max_length=400, description="The file's name")] = "recording",
    rate: Annotated[str, Query(max_length=40, description="'10 Hz', if it has no time")] = "",
    sha256: Annotated[str, Query(max_length=64, description="Of a file sent before")] = "",
    content_length: Annotated[int, Header(ge=0, include_in_schema=False)] = 0,
) -> InspectAnswer:
    """Take a file as the body, or one that was sent before, and return what is in it."""
    room = readings_of(request)
    if sha256:
        return InspectAnswer.of(await room.again(job, sha256, rate))
    parts = request.stream()
    return InspectAnswer.of(await room.take(job, file_name(file), rate, parts, content_length))


@router.delete("/inspect/{sha256}", status_code=204)
def give_up(request: Request, job: str, sha256: str) -> None:
    """Forget a file that was sent and not attached."""
    readings_of(request).give_up(job, sha256)


@router.post("", status_code=202)
def attach(request: Request, ask: Asked, job: str, body: AttachBody, response: Response) -> Any:
    """Start to attach a file that was sent; the answer tells where to ask how far it is."""
    mark = ask.mark(f"recording {body.file}".strip(), body.by)
    room = readings_of(request)
    if mark.key and (before := ask.desk.store.change_with(mark.key)) is not None:
        if before.mark.request != mark.request:
            raise InputError(f"the key {mark.key!r} was used for another request.")
        response.status_code = 201
        return TaskAnswer(
            task="", state="done", said="It was kept before.", result=dict(before.result),
            problem="",
        )  # fmt: skip
    task = room.attach(job, said_of(body), mark, ask.base)
    response.headers["Location"] = f"/api/v1/jobs/{job}/recordings/tasks/{task.id}"
    return TaskAnswer.of(task)


def said_of(body: AttachBody) -> Attach:
    """Return what a body says of a file."""
    roles = {name: _with_unit(r, body.units.get(name, "")) for name, r in body.roles.items() if r}
    rows: dict[str, dict[str, str]] = {}
    for name, text in body.taped.items():
        row, _, part = name.partition(".")
        rows.setdefault(row, {})[part] = text.strip()
    taped = [(t.time, t.corner, t.height) for t in body.tapes]
    taped += [(r.get("time", ""), r.get("corner", ""), r.get("height", "")) for r in rows.values()]
    tapes = tuple(
        Taped(time=time, corner=corner, height=height)
        for time, corner, height in taped
        if time or height  # a row of the form that was left empty
    )
    return Attach(
        sha256=body.sha256, file=file_name(body.file) if body.file.strip() else "",
        assignment=Assignment(roles=roles, rate=body.rate.strip()), tapes=tapes,
        remember=body.remember,
    )  # fmt: skip


def _with_unit(role: str, unit: str) -> str:
    if "[" in role or role.strip() == "-" or not unit.strip():
        return role
    return f"{role.strip()} [{unit.strip()}]"


@router.get("/tasks/{task}")
def read_task(request: Request, job: str, task: str) -> TaskAnswer:
    """Return how far a task is."""
    return TaskAnswer.of(readings_of(request).tasks.get(job, task))


@router.get("/{recording}/channels")
def channels(
    request: Request, ask: Asked, reader: Reading, job: str, recording: Recording
) -> dict[str, Any]:
    """Return what the rows of `samples` are, how they share panels, and what is marked."""
    found = readings_of(request).plotted(ask.desk.open(job), recording).as_read(reader)
    return {
        "start": found.start,
        "end": found.end,
        "samples": found.trace.time.size,
        "rows": plain(found.rows),
        "panels": plain(found.panels),
        "shades": plain(found.shades),
        "marks": plain(found.marks),
    }


@router.get("/{recording}/samples", response_class=Response, responses={
    200: {"content": {"application/octet-stream": {}}}
})  # fmt: skip
def samples(
    request: Request,
    ask: Asked,
    reader: Reading,
    job: str,
    recording: Recording,
    start: Annotated[Seconds, Query(alias="from", ge=FIRST, le=LAST)] = FIRST,
    end: Annotated[Seconds, Query(alias="to", ge=FIRST, le=LAST)] = LAST,
    width: Annotated[int, Query(ge=10, le=4000, description="Columns of the screen")] = 800,
) -> Response:
    """Return a window, thinned to a width: 32-bit floats, low byte first.

    First the times in seconds after the header X-Start, then a row for each of `channels`, in its
    order and unit. A value that is not there is NaN.
    """
    plotted = readings_of(request).plotted(ask.desk.open(job), recording).as_read(reader)
    found = plotted.samples(start, end, width)
    headers = {
        "X-Start": repr(found.start), "X-Samples": str(found.time.size),
        "X-Rows": str(len(found.values)), "Cache-Control": "no-store",
    }  # fmt: skip
    return Response(found.content(), media_type="application/octet-stream", headers=headers)
