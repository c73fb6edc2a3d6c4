"""Runs every check and test, one after the other, and says at the end what failed."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BIN = Path(sys.executable).parent

# "-p no:cacheprovider" is not set: a second run may start with what failed in the first.
STEPS: tuple[tuple[str, list[str]], ...] = (
    ("style (ruff check)", [str(BIN / "ruff"), "check", "."]),
    ("format (ruff format)", [str(BIN / "ruff"), "format", "--check", "."]),
    ("types (mypy --strict)", [str(BIN / "mypy")]),
    ("import directions (import-linter)", [str(BIN / "lint-imports")]),
    (
        "tests (pytest) with branch coverage",
        [
            str(BIN / "python"),
            "-m",
            "pytest",
            "-n",
            str(os.cpu_count() or 2),
            # Tests of one module share what its fixtures computed.
            "--dist",
            "loadscope",
            "--cov",
            "--cov-report=",
            "-q",
        ],
    ),
    (
        "branch coverage of the core at least 95 %",
        [
            str(BIN / "coverage"),
            "report",
            "--skip-covered",
            "--fail-under=95",
            "--include="
            + ",".join(
                f"src/sagtrace/{name}"
                for name in (
                    "errors.py",
                    "units/*",
                    "physics/*",
                    "signals/*",
                    "vehicle/*",
                    "evidence/*",
                    "diagnosis/*",
                    "plan/*",
                    "repair/*",
                    "report/*",
                )
            ),
        ],
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
