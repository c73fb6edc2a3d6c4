"""The API keeps to its description, whatever is sent: checked by schemathesis.

Requests are made from the description, right ones and wrong ones; addresses and bodies name what
the jobs have, so that they get deep.
"""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from local import FromHere, small_desk
from schemathesis import GenerationMode
from schemathesis.config import SchemathesisConfig
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from sagtrace.bootstrap import open_workshop
from sagtrace.web.app import build_app

OPENAPI = "/api/v1/openapi.json"
KEPT = [
    schemathesis.checks.not_a_server_error,
    allow_header_conformance,
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
]
EXAMPLES = 4  # requests to an operation; each may let a job be assessed anew
PICTURE = "RIFF0000WEBP"  # what a WebP begins with
CHECKS = ["soap.fitting@right", "soap.fitting@left"]
MOMENTS = ["", "2026-11-24T17:30:00Z"]
PLACES: dict[str, list[str]] = {
    "job": ["small"],
    "layout": ["rear-pair"],
    "check": [*CHECKS, "hold.short@left"],
    "kind": ["input"],
    "name": ["hold-time"],
    "item": ["e1", "b1"],
    "sha256": [hashlib.sha256(PICTURE.encode()).hexdigest()],
    "if-match": ["", "*"],
    "if-none-match": ["", '"1"'],
    "idempotency-key": [""],  # what a key does is tested in test_api_changes.py
}

# What only a file makes possible: test_recordings.py and test_moving.py go that way.
NEED_A_FILE = {
    "POST /api/v1/import",
    "POST /api/v1/jobs/{job}/recordings/inspect",
    "DELETE /api/v1/jobs/{job}/recordings/inspect/{sha256}",
    "POST /api/v1/jobs/{job}/recordings",
    "GET /api/v1/jobs/{job}/recordings/tasks/{task}",
    "GET /api/v1/jobs/{job}/recordings/{recording}/channels",
    "GET /api/v1/jobs/{job}/recordings/{recording}/samples",
}


def before_load_schema(_context: Any, raw_schema: dict[str, Any]) -> None:
    """Let addresses and bodies name what the jobs have, so that requests get deep."""
    for operation in (op for path in raw_schema["paths"].values() for op in path.values()):
        for parameter in operation.get("parameters", ()):
            if (name := parameter["name"].lower()) in PLACES:
                parameter["schema"] = {"type": "string", "enum": PLACES[name]}
    system = open_workshop().system("rear-pair")
    # No entry answers one of CHECKS yet, and a correction answers the same check.
    known = {
        "check": CHECKS, "repairs": list(system.repairs)[:6], "access": list(system.access)[:6],
        "outcome": ["none", "bubbles"], "layout": ["rear-pair"], "supersedes": [""],
        "ends": [""], "at": MOMENTS, "ready": MOMENTS, "file": [PICTURE],
        "without_approval": ["towed in"],
    }  # fmt: skip
    for name, body in raw_schema["components"]["schemas"].items():
        if not name.endswith("Body") and "photo" not in name:
            continue
        for field, held in body["properties"].items():
            if field in known:
                (held["items"] if held.get("type") == "array" else held)["enum"] = known[field]
            if field == "without_approval":  # nobody approved the repair of this job
                body.setdefault("required", []).append(field)
            if name == "ProofBody" and field == "supersedes":
                held["enum"] = [""]  # no proof is there yet that could be corrected
            if field in ("repairs", "file"):
                held["minItems"] = 1
            if field == "vehicle" or (field == "values" and "outcome" in body["properties"]):
                held["maxProperties"] = 0


@pytest.fixture(scope="module")
def api() -> Any:
    schemathesis.hook(before_load_schema)
    config = SchemathesisConfig.discover()
    app = FromHere(build_app(small_desk()))
    found = schemathesis.openapi.from_asgi(OPENAPI, app, config=config)
    schemathesis.hooks.unregister_all()
    return found


def asked_of(operation: Any, mode: GenerationMode) -> set[int]:
    """Send requests to one operation, check every answer, and return the statuses."""
    statuses: set[int] = set()

    @settings(
        max_examples=EXAMPLES, derandomize=True, deadline=None, database=None,
        phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case: Any) -> None:
        response = case.call()
        statuses.add(response.status_code)
        case.validate_response(response, checks=KEPT)

    ask()
    return statuses


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_the_api_keeps_to_its_description(api: Any, mode: GenerationMode) -> None:
    """Requests as described, and requests each with something wrong in it."""
    operations = [result.ok() for result in api.get_all_operations()]
    wrong = mode is GenerationMode.NEGATIVE
    asked = {o.label: asked_of(o, mode) for o in operations if not wrong or can_be_wrong(o)}
    print(asked)
    if not wrong:  # the requests got deep, and were not only refused
        assert len(asked) >= 35
        deep = {label for label, found in asked.items() if found & {200, 201}}
        assert set(asked) - deep == NEED_A_FILE


def can_be_wrong(operation: Any) -> bool:
    return operation.method == "post" or bool(operation.query)
