"""The first call on a machine: what it says, and what happens when the cache is no help."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import pytest
from numba.core.caching import FunctionCache

from sagtrace.twin import _kernels, body, controller, formulas, plant, rosenbrock, simulate
from sagtrace.twin._compiled import by_address, entrance, fingerprint, is_kept

SIGNATURE = numba.types.float64(numba.types.float64)
FACTOR = 3.0


def tripled(x: float) -> float:
    return FACTOR * x


@numba.njit  # type: ignore[untyped-decorator]
def called(function: Any, x: float) -> float:
    return function(x)  # type: ignore[no-any-return]


@pytest.mark.parametrize("at_once", [False, True])
def test_says_what_it_does_only_when_it_does(
    monkeypatch: pytest.MonkeyPatch, at_once: bool
) -> None:
    said: list[str] = []
    apart: list[bool] = []
    monkeypatch.setattr(simulate, "compile_apart", lambda: apart.append(True))
    monkeypatch.setattr(simulate, "all_kept", lambda: False)
    simulate.prepare(said.append, at_once=at_once)
    assert "first run" in said[0]
    assert "seconds" in said[0]
    assert "ready" in said[-1]
    assert apart == ([True] if at_once else [])
    monkeypatch.setattr(simulate, "all_kept", lambda: True)
    said.clear()
    simulate.prepare(said.append, at_once=at_once)
    assert said == []


def test_what_is_compiled_is_kept() -> None:
    simulate.prepare()
    assert _kernels.all_kept()
    _kernels.compiled_run.cache_clear()
    assert _kernels.all_kept()
    for piece in _kernels.PIECES:
        assert is_kept(piece.function, piece.signature, "address"), piece.function.__name__


@pytest.mark.parametrize(
    ("module", "constant", "reader"),
    [
        (plant, "CP", plant.rates),
        (body, "NEWTON_DONE", body.heights),
        ("sagtrace.twin.pump_point", "RING_SHARE", plant.rates),
        ("sagtrace.twin.formulas", "_FUSE_LEAST", plant.rates),
        ("sagtrace.twin._chance", "BURST", controller.decide),
        (rosenbrock, "A", rosenbrock.attempt),
        (controller, "K_VOLTS", controller.decide),
    ],
)
def test_a_changed_constant_anywhere_makes_a_kept_piece_useless(
    monkeypatch: pytest.MonkeyPatch, module: Any, constant: str, reader: Callable[..., object]
) -> None:
    before = fingerprint(reader)
    assert before == fingerprint(reader)
    target = f"{module}.{constant}" if isinstance(module, str) else (module, constant)
    if isinstance(target, str):
        name, _, attribute = target.rpartition(".")
        module = __import__(name, fromlist=[attribute])
    monkeypatch.setattr(module, constant, getattr(module, constant) * 1.5)
    assert fingerprint(reader) != before


def test_a_changed_line_in_a_called_function_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    before = fingerprint(plant.rates)
    monkeypatch.setattr(plant, "iso_flow", formulas.series_conductance)
    assert fingerprint(plant.rates) != before


def test_a_kept_piece_is_found_again_and_only_for_the_same_constants(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path))
    assert not is_kept(tripled, SIGNATURE, "address")
    assert called(by_address(tripled, SIGNATURE), 2.0) == 6.0
    assert is_kept(tripled, SIGNATURE, "address")
    monkeypatch.setitem(globals(), "FACTOR", 5.0)
    assert not is_kept(tripled, SIGNATURE, "address")
    assert called(by_address(tripled, SIGNATURE), 2.0) == 10.0
    assert not is_kept(tripled, SIGNATURE, "entrance")
    assert entrance(tripled, SIGNATURE)(2.0) == 10.0
    assert is_kept(tripled, SIGNATURE, "entrance")


def refuse(*_: object, **__: object) -> None:
    raise OSError(28, "No space left on device")


def test_without_a_folder_to_write_to_it_compiles_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def nowhere(*_: object) -> None:
        raise RuntimeError("no locator available")

    monkeypatch.setattr(FunctionCache, "__init__", nowhere)
    monkeypatch.setattr(_kernels, "get_context", refuse)
    _kernels.compile_apart()  # nobody could hand over what it has compiled
    assert not is_kept(tripled, SIGNATURE, "address")
    assert called(by_address(tripled, SIGNATURE), 2.0) == 6.0
    assert entrance(tripled, SIGNATURE)(2.0) == 6.0


@pytest.mark.parametrize("broken", ["_save_overload", "_load_overload"])
def test_a_full_or_unreadable_disk_is_no_error(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, broken: str
) -> None:
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(FunctionCache, broken, refuse)
    assert called(by_address(tripled, SIGNATURE), 2.0) == 6.0
    assert entrance(tripled, SIGNATURE)(2.0) == 6.0


def test_a_torn_file_is_no_error(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path))
    by_address(tripled, SIGNATURE)
    for file in tmp_path.rglob("*.nb*"):
        file.write_bytes(file.read_bytes()[: 20 if file.suffix == ".nbi" else 0])
    assert not is_kept(tripled, SIGNATURE, "address")
    assert called(by_address(tripled, SIGNATURE), 2.0) == 6.0


def test_processes_that_cannot_start_leave_the_work_to_this_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(_kernels, "ProcessPoolExecutor", refuse)
    _kernels.compile_apart()
    assert callable(_kernels.compiled_run())


def test_one_core_alone_compiles_in_its_own_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_kernels, "cpu_count", lambda: 1)
    monkeypatch.setattr(_kernels, "get_context", refuse)
    _kernels.compile_apart()


def die(_: int) -> None:
    os._exit(1)


def test_processes_that_die_leave_the_work_to_this_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_kernels, "_compile", die)
    _kernels.compile_apart()
    assert callable(_kernels.compiled_run())
