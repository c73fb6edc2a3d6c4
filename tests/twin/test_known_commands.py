"""A run whose commands are known beforehand, so that nothing is decided."""

from __future__ import annotations

import numpy as np
import pytest

from sagtrace.twin import _slots as s
from sagtrace.twin._kernels import compiled_run
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.loop import room_shape
from sagtrace.twin.plant import COMMANDS, EXTRAS, LEDGERS
from sagtrace.twin.sampling import seen_rows
from sagtrace.twin.script import Engine, Load, Script, stretches
from sagtrace.twin.simulate import initial_state, simulate
from virtual_vehicles import standard_vehicle

PAIR = standard_vehicle("rear-pair")
LEAK = TimedFault(name="leak", change=FaultParameters(corners={"left": CornerFault(leak=2e-11)}))
SCRIPT = Script(
    duration=400.0,
    events=(Engine(at=30.0, on=True), Load(at=60.0, kilograms={"left": 60.0, "right": 50.0})),
)


def played(edges: np.ndarray, commands: np.ndarray, aims: np.ndarray) -> np.ndarray:
    """Return the springs' extensions once a second [m]."""
    marks, inputs = stretches(PAIR, SCRIPT, (), 0.0)
    rows = inputs[np.searchsorted(marks, edges[:-1], side="right") - 1].copy()
    begun = marks[np.searchsorted(marks, edges[:-1], side="right") - 1]
    ramps = rows[:, s.U_RAMP : s.U_RAMP + 2]
    rows[:, s.U_LOAD : s.U_LOAD + 2] += ramps * (edges[:-1] - begun)[:, None]
    rows[:, s.U_START] = edges[:-1]
    start, pack, many = initial_state(PAIR, SCRIPT), s.pack(PAIR, (LEAK,)), len(edges) - 1
    y, x = start.values.copy(), start.extensions.copy()
    size = np.maximum(np.abs(y), 1e-2)
    size[[2, 5]] = size[[0, 3]]
    out = np.zeros((seen_rows(2), 401))
    tables = (pack.wide, pack.springs, pack.sensors, pack.control)
    failed = compiled_run()(
        edges, rows, *(np.repeat(table[None], many, axis=0) for table in tables),
        np.zeros((many, EXTRAS)), commands, aims, s.coupling(PAIR), size, y, x, start.memory, 0,
        1e-6, 1.0, out, np.zeros((1, 1 + COMMANDS)), np.zeros(4),
        np.zeros(room_shape(2, 2 * 3 + EXTRAS + LEDGERS)),
    )  # fmt: skip
    assert not failed
    return out[:2]


def test_the_same_commands_give_the_same_heights() -> None:
    run = simulate(PAIR, SCRIPT, faults=(LEAK,), rate=1.0, rtol=1e-6)
    assert run.truth is not None
    marks, _ = stretches(PAIR, SCRIPT, (), 0.0)
    edges = np.unique(np.concatenate([marks, run.changes[:, 0]]))
    before = np.searchsorted(run.changes[:, 0], edges[:-1], side="right") - 1
    commands = np.where(before[:, None] >= 0, run.changes[before, 1:], 0.0)
    assert commands[:, 0].max() == 1.0
    again = played(edges, commands, np.empty((0, 2)))
    for i, height in enumerate(run.truth.heights.values()):
        assert again[i] / PAIR.lever == pytest.approx(height, abs=2e-5)


def test_a_stretch_begins_at_the_heights_that_it_is_given() -> None:
    edges = np.array([0.0, 200.5, 400.0])
    aims = np.array([[-0.02, -0.02], [np.nan, np.nan]])
    at = played(edges, np.zeros((2, COMMANDS)), aims).mean(axis=0) / PAIR.lever
    assert at[0] == pytest.approx(-0.02, abs=1e-6)
    aims[1] = 0.03
    later = played(edges, np.zeros((2, COMMANDS)), aims).mean(axis=0) / PAIR.lever
    assert later[:201] == pytest.approx(at[:201], abs=1e-9)
    assert later[201] == pytest.approx(0.03, abs=1e-3)
