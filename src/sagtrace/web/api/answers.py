"""What the API answers, as records that its description is made of."""

from __future__ import annotations

from pydantic import BaseModel, Field

from sagtrace.app.desk import Done
from sagtrace.app.kept import JobLine, Kept

__all__ = ["ChangedAnswer", "JobAnswer", "LineAnswer", "LinesAnswer"]


class LineAnswer(BaseModel):
    """A job in the list."""

    id: str
    title: str
    complaint: str
    layout: str
    invented: bool
    revision: int
    opened: str
    changed_at: str
    changed_by: str
    stage: str = Field(description="check, repair, prove, proved; empty: not worked out yet")
    headline: str = Field(description="The next thing to do; empty: not worked out yet")
    waits: str = Field(description="hold, approval, proof or empty")
    ready: str = Field(description="RFC 3339: when what it waits for can be read")

    @classmethod
    def of(cls, line: JobLine) -> LineAnswer:
        """Return the answer for a line."""
        return cls(**{name: getattr(line, name) for name in cls.model_fields})


class LinesAnswer(BaseModel):
    """A page of the list of jobs."""

    jobs: list[LineAnswer]
    next: str = Field(description="Pass it as `after` for the next page; empty on the last")


class JobAnswer(BaseModel):
    """A job as it is kept."""

    revision: int
    changed_at: str
    changed_by: str
    job: dict[str, object] = Field(description="The fields of the job file")

    @classmethod
    def of(cls, kept: Kept, job: dict[str, object]) -> JobAnswer:
        """Return the answer for a kept job."""
        return cls(
            revision=kept.revision, changed_at=kept.changed_at, changed_by=kept.changed_by, job=job
        )


class ChangedAnswer(BaseModel):
    """What came of a change."""

    job: str
    revision: int
    result: dict[str, str] = Field(description="Such as the id of a new entry")
    again: bool = Field(description="The same request was carried out before")

    @classmethod
    def of(cls, done: Done) -> ChangedAnswer:
        """Return the answer for a change."""
        return cls(
            job=done.kept.job.id, revision=done.kept.revision, result=dict(done.result),
            again=done.again,
        )  # fmt: skip
