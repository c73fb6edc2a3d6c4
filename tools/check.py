"""Runs every check and test, one after the other, and says at the end what failed."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BIN = Path(sys.executable).parent

# The packages that touch no file, socket, clock or database.
CORE = (
    "units",
    "physics",
    "signals",
    "vehicle",
    "evidence",
    "diagnosis",
    "plan",
    "repair",
    "report",
)
# Tests that exercise the core itself. The others run without coverage, which slows them by a half.
COVERING = ("app", *CORE, "identify", "recordings", "twin", "twin_bay")
# "-p no:cacheprovider" is not set: a second run may start with what failed in the first.
PYTEST = [
    str(BIN / "python"),
    "-m",
    "pytest",
    "-q",
    "-n",
    str(os.cpu_count() or 2),
    # Tests of one module share what its fixtures computed.
    "--dist",
    "loadscope",
]

STEPS: tuple[tuple[str, list[str]], ...] = (
    ("style (ruff check)", [str(BIN / "ruff"), "check", "."]),
    ("format (ruff format)", [str(BIN / "ruff"), "format", "--check", "."]),
    ("types (mypy --strict)", [str(BIN / "mypy")]),
    ("import directions (import-linter)", [str(BIN / "lint-imports")]),
    (
        "tests of the core (pytest) with branch coverage",
        [*PYTEST, "--cov", "--cov-report=", *(f"tests/{name}" for name in COVERING)],
    ),
    (
        "branch coverage of the core at least 95 %",
        [
            str(BIN / "coverage"),
            "report",
            "--skip-covered",
            "--fail-under=95",
            "--include="
            + ",".join(f"src/sagtrace/{name}" for name in ("errors.py", *(f"{c}/*" for c in CORE))),
        ],
    ),
    (
        "all other tests (pytest): pages, stores, files, commands",
        [*PYTEST, "tests", *(f"--ignore=tests/{name}" for name in COVERING)],
    ),
)


def main() -> int:
    failed = []
    for i, (name, command) in enumerate(STEPS, start=1):
        print(f"[{i}/{len(STEPS)}] {name}", flush=True)
        start = time.monotonic()
        done = subprocess.run(command, cwd=ROOT, check=False)
        print(f"      {time.monotonic() - start:.1f} s", flush=True)
        if done.returncode != 0:
            failed.append(name)
    if failed:
        print(f"\nFAILED: {'; '.join(failed)}. The output of each is above.")
        return 1
    print("\nEverything passed.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
