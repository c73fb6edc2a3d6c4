"""What a request may carry. Texts are as a person types them; what they mean is checked below."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = [
    "AccessBody",
    "AnswerBody",
    "ApprovalBody",
    "BeginBody",
    "ChangeBody",
    "DropBody",
    "NoteBody",
    "PractiseBody",
    "ProofBody",
    "RepairedBody",
    "StartBody",
    "StartPracticeBody",
    "VehicleBody",
    "WithdrawBody",
]

Id = Annotated[str, Field(max_length=120)]
Line = Annotated[str, Field(max_length=200)]
Text = Annotated[str, Field(max_length=4000)]
Moment = Annotated[str, Field(max_length=40, description="RFC 3339; empty: now")]
Typed = Annotated[dict[Id, Line], Field(max_length=60)]


class ChangeBody(BaseModel):
    """What every change carries."""

    model_config = ConfigDict(extra="forbid")

    by: Annotated[str, Field(max_length=80, description="Who makes the change")] = ""


class StartBody(ChangeBody):
    """A new job."""

    layout: Id = "rear-pair"
    complaint: Text = ""
    title: Line = ""
    vehicle: Typed = Field(default_factory=dict, description="Facts of the layout, as typed")


class AnswerBody(ChangeBody):
    """The answer to a check: an outcome of its list, or the numbers that it asks for."""

    check: Id
    outcome: Id = ""
    values: Typed = Field(default_factory=dict, description="By name, as typed: '7.8 bar'")
    at: Moment = ""
    instrument: Line = ""
    note: Text = ""
    supersedes: Id = Field("", description="The entry that this one corrects")
    ends: Id = Field("", description="The begun check that this one answers")


class ProofBody(AnswerBody):
    """The answer to a proof test."""


class WithdrawBody(ChangeBody):
    """Why an entry counts no longer."""

    note: Text = ""


class BeginBody(ChangeBody):
    """A check that was begun and has to wait, with what was read so far."""

    check: Id
    values: Typed = Field(default_factory=dict)
    at: Moment = ""
    ready: Moment = ""
    note: Text = ""


class DropBody(ChangeBody):
    """Why a begun check is given up."""

    note: Text = ""


class NoteBody(ChangeBody):
    """A note without a picture."""

    text: Text
    check: Id = ""
    at: Moment = ""


class ApprovalBody(ChangeBody):
    """What the customer was offered and said."""

    repairs: list[Id] = Field(max_length=60)
    offered: Line = ""
    answer: Literal["asked", "approved", "declined"] = "asked"
    how: Line = ""
    who: Line = ""
    at: Moment = ""


class StartPracticeBody(ChangeBody):
    """A job on an invented vehicle with hidden faults."""

    layout: Id = "rear-pair"
    seed: Annotated[int, Field(ge=0, le=999_999_999, description="0: any")] = 0


class PractiseBody(ChangeBody):
    """A check to be done on the invented vehicle of a practice job."""

    check: Id
    proof: bool = Field(False, description="It is a proof of the repair")


class RepairedBody(ChangeBody):
    """Repairs that were done."""

    repairs: list[Id] = Field(max_length=60)


class VehicleBody(ChangeBody):
    """The vehicle's own values, as typed; an empty text takes one back."""

    vehicle: Typed


class AccessBody(ChangeBody):
    """The access states that hold now."""

    access: list[Id] = Field(max_length=60)
