"""Fixtures that several test folders share: the shipped knowledge, compiled once a session."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from sagtrace.adapters.knowledge import SHIPPED, load_knowledge
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.models import MODELS
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.system import System, expand

pytest_plugins = ["stores", "workbench"]


@pytest.fixture(scope="session", autouse=True)
def own_settings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep the settings of whoever runs the tests out of them, and the tests out of those."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("settings")))
        yield


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    return load_knowledge(SHIPPED, MODELS)


@pytest.fixture(scope="session")
def rear_pair(knowledge: Knowledge) -> Layout:
    return next(layout for layout in knowledge.layouts if layout.id == "rear-pair")


@pytest.fixture(scope="session")
def system(knowledge: Knowledge) -> System:
    return expand(knowledge, "rear-pair")


@pytest.fixture(scope="session")
def reasoner(system: System) -> Reasoner:
    return Reasoner(system)
