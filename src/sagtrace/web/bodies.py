"""What a request may carry. Texts are as a person types them; what they mean is checked below.

What no file and no page can hold is refused here, in words: control characters, and halves of
characters.
"""

from __future__ import annotations

import unicodedata
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from sagtrace.app.moments import EXPECTED, read_moment
from sagtrace.vehicle.identity import LONGEST

__all__ = [
    "AccessBody",
    "AnswerBody",
    "ApprovalBody",
    "BeginBody",
    "ChangeBody",
    "DropBody",
    "Id",
    "Line",
    "HeadingBody",
    "Moment",
    "Name",
    "NoteBody",
    "PictureBody",
    "PractiseBody",
    "ProofBody",
    "RepairedBody",
    "StartBody",
    "StartPracticeBody",
    "Text",
    "unwritable",
    "VehicleBody",
    "WithdrawBody",
]


def unwritable(text: str) -> str:
    """Return what is wrong with a text that cannot be kept; empty if nothing is."""
    for i, c in enumerate(text):
        kind = unicodedata.category(c)
        if kind == "Cs":
            return f"character {i + 1} is half a character ({ord(c):#06x}); type the text anew."
        if kind == "Cc" and c not in "\t\n\r":
            return f"character {i + 1} is a control character ({ord(c):#04x}); take it out."
    return ""


def _writable(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if wrong := unwritable(value):
        raise PydanticCustomError("unwritable", "{wrong}", {"wrong": wrong})
    return value.replace("\r\n", "\n")  # because a form sends lines with both


def _moment(text: str) -> str:
    """Return the moment with its offset; one without is this machine's time."""
    if not text:
        return text
    moment = read_moment(text)
    if moment is None:
        raise PydanticCustomError("moment", "{shown}", {"shown": f"expected {EXPECTED}"})
    return text if moment.tzinfo else moment.astimezone().isoformat(timespec="seconds")


Id = Annotated[str, Field(max_length=120), BeforeValidator(_writable)]
Line = Annotated[str, Field(max_length=200), BeforeValidator(_writable)]
Name = Annotated[str, Field(max_length=LONGEST), BeforeValidator(_writable)]
Text = Annotated[str, Field(max_length=4000), BeforeValidator(_writable)]
Moment = Annotated[
    str,
    Field(max_length=40, description="RFC 3339; empty: now"),
    BeforeValidator(_writable),
    AfterValidator(_moment),
]
Typed = Annotated[dict[Id, Line], Field(max_length=60)]


class ChangeBody(BaseModel):
    """What every change carries."""

    model_config = ConfigDict(extra="forbid")

    by: Annotated[Line, Field(max_length=80, description="Who makes the change")] = ""


class StartBody(ChangeBody):
    """A new job."""

    layout: Id = "rear-pair"
    complaint: Text = ""
    title: Line = ""
    registration: Name = ""
    odometer: Name = Field("", description="At intake, with its unit: '84 210 km'")
    reference: Name = Field("", description="The customer's own, such as an order number")
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


class PictureBody(ChangeBody):
    """What is said of a picture."""

    text: Text = ""
    check: Id = Field("", description="The check that it was seen at")
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
    without_approval: Text = Field(
        "", description="Why they were done although the customer had not approved; kept as a note"
    )


class VehicleBody(ChangeBody):
    """What is told of the vehicle, as typed; an empty text takes back, none leaves as it was."""

    registration: Name | None = None
    odometer: Name | None = Field(None, description="At intake, with its unit: '84 210 km'")
    odometer_out: Name | None = Field(None, description="The same at hand-over")
    reference: Name | None = Field(None, description="The customer's own")
    vehicle: Typed = Field(default_factory=dict, description="Facts of the layout")


class HeadingBody(ChangeBody):
    """The workshop's own heading on its papers."""

    name: Name = ""
    lines: Annotated[Text, Field(max_length=400, description="Up to three lines")] = ""


class AccessBody(ChangeBody):
    """The access states that hold now."""

    access: list[Id] = Field(max_length=60)
