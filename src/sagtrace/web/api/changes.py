"""Every change of a job: one route an action, all made from the table of actions."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Response

from sagtrace.web.acts import ACTS, Act
from sagtrace.web.api.answers import ChangedAnswer
from sagtrace.web.asking import Ask, Sent, etag

__all__ = ["router"]

router = APIRouter(prefix="/jobs/{job}", tags=["changes"])


def _answer(act: Act, ask: Ask, job: str, item: str, body: Any, response: Response) -> Any:
    done = act.carry_out(ask, job, item, body)
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


def _route(act: Act) -> Callable[..., Any]:
    body_type = act.body
    if "{item}" in act.path:

        def with_item(ask: Sent, job: str, item: str, body: Any, response: Response) -> Any:
            return _answer(act, ask, job, item, body, response)

        found: Callable[..., Any] = with_item
    else:

        def plain(ask: Sent, job: str, body: Any, response: Response) -> Any:
            return _answer(act, ask, job, "", body, response)

        found = plain
    found.__annotations__["body"] = body_type
    found.__doc__ = (act.body.__doc__ or "").strip()
    return found


for _name, _act in ACTS.items():
    router.add_api_route(
        _act.path, _route(_act), methods=["POST"], status_code=201, response_model=ChangedAnswer,
        name=_name, operation_id=_name,
    )  # fmt: skip
