"""What the API answers about jobs, as records that its description is made of."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from sagtrace.app.desk import Done
from sagtrace.app.kept import JobLine, Kept
from sagtrace.vehicle.job import Job

__all__ = ["Answer", "ChangedAnswer", "JobAnswer", "LineAnswer", "LinesAnswer"]


class Answer(BaseModel):
    """What every answer has in common: it can be read off a record with the same names."""

    model_config = ConfigDict(from_attributes=True)


class LineAnswer(Answer):
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
        return cls.model_validate(line)


class LinesAnswer(Answer):
    """A page of the list of jobs."""

    jobs: list[LineAnswer]
    next: str = Field(description="Pass it as `after` for the next page; empty on the last")


class JobAnswer(Answer):
    """A job as it is kept."""

    revision: int
    changed_at: str
    changed_by: str
    job: Job = Field(description="The fields of the job file")

    @classmethod
    def of(cls, kept: Kept) -> JobAnswer:
        """Return the answer for a kept job."""
        return cls.model_validate(kept)


class ChangedAnswer(Answer):
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
