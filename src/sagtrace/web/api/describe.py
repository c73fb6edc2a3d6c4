"""What the description of the API says of every route alike: problems, and unchanged answers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import FastAPI
from pydantic import BaseModel, Field

from sagtrace.web.problems import KINDS, MEDIA, TYPES

__all__ = ["describe", "Problem"]


class Unfit(BaseModel):
    """One thing wrong in a request."""

    at: str = Field(description="Where, such as body.check")
    problem: str


class Problem(BaseModel):
    """Problem details as RFC 9457 has them."""

    type: str = Field(description="What kind it is: about:blank or an address of this API")
    title: str
    status: int = Field(description="The HTTP status")
    detail: str = Field(description="What, where, what is allowed and the way out, for a person")
    instance: str = Field(description="The address that was asked")
    errors: list[Unfit] = Field([], description="Every thing wrong, if the request does not fit")
    field: str = Field("", description="The one value that cannot be right: `values.height-start`")
    said: str = Field("", description="The same for people at a form, by what the field asks for")
    nearest: list[str] = Field([], description="Known ids most like one that nothing has")
    entries: list[str] = Field([], description="Entries that cannot all be right together")


def describe(app: FastAPI) -> None:
    """Let the app's description say what every route may answer beside what it is for."""
    plain: Callable[[], dict[str, Any]] = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _completed(plain())
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def _completed(found: dict[str, Any]) -> dict[str, Any]:
    schemas = found.setdefault("components", {}).setdefault("schemas", {})
    made = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas |= made.pop("$defs")
    kinds = "; ".join(
        f"{TYPES}{kind} ({status}): {what}" for kind, (status, _, what) in KINDS.items()
    )
    made["properties"]["type"]["description"] += f". {kinds}"
    schemas["Problem"] = made
    content = {MEDIA: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    for operation in (op for path in found["paths"].values() for op in path.values()):
        answers = operation["responses"]
        answers.pop("422", None)  # the framework's own, which is never sent
        answers["default"] = {"description": "What went wrong", "content": content}
        names = {p["name"] for p in operation.get("parameters", ())}
        if "if-none-match" in names:
            answers["304"] = {"description": "It is what the sender has"}
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    return found
