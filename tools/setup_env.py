"""Makes the virtual environment and installs the pinned versions into it. Standard library only.

Run by `make`. Does nothing if the environment is already what the pins say.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LEAST = (3, 11)


def fail(text: str) -> int:
    print(f"\nsetup: {text}", file=sys.stderr)
    return 1


def run(command: list[str], what: str) -> bool:
    print(f"setup: {what} ...", end=" ", flush=True)
    start = time.monotonic()
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PIP_REQUIRE_VIRTUALENV")}
    done = subprocess.run(command, text=True, capture_output=True, cwd=ROOT, env=env, check=False)
    print(f"{'done' if done.returncode == 0 else 'FAILED'} ({time.monotonic() - start:.1f} s)")
    if done.returncode != 0:
        print("\n".join((done.stdout + done.stderr).strip().splitlines()[-25:]), file=sys.stderr)
    return done.returncode == 0


def make_venv(venv: Path, python: Path) -> str:
    """Return an empty text, or what went wrong and the way out."""
    if python.exists():
        return ""
    if venv.exists():
        shutil.rmtree(venv)
    if run([sys.executable, "-m", "venv", str(venv)], f"making the environment {venv.name}"):
        return ""
    # Debian splits the module that puts pip into a new environment into a package of its own.
    shutil.rmtree(venv, ignore_errors=True)
    bare = [sys.executable, "-m", "venv", "--without-pip", str(venv)]
    if run(bare, "trying without a pip of its own"):
        return ""
    return "no virtual environment could be made. On Debian: apt install python3-venv, then again."


def pip(python: Path) -> list[str]:
    own = subprocess.run([str(python), "-m", "pip", "--version"], capture_output=True, check=False)
    if own.returncode == 0:
        return [str(python), "-m", "pip"]
    return [sys.executable, "-m", "pip", "--python", str(python)]


def install(python: Path, pins: Path) -> str:
    quiet = ["--disable-pip-version-check", "--no-input", "--quiet"]
    base = [*pip(python), "install", *quiet]
    pinned = [*base, "--no-deps", "--require-hashes", "-r", str(pins)]
    if not run(pinned, f"installing {pins.name} (about 60 packages, a minute or so)"):
        return (
            "the pinned packages could not be installed. Is the package registry reachable? "
            "Behind a proxy, set HTTPS_PROXY; then run make again, it goes on where it stopped."
        )
    own = [*base, "--no-deps", "--no-build-isolation", "-e", str(ROOT)]
    if not run(own, "installing sagtrace itself"):
        return "sagtrace itself could not be installed; the lines above say why."
    return ""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pins", type=Path, help="requirements/run.txt or requirements/dev.txt")
    parser.add_argument("--venv", type=Path, default=ROOT / ".venv")
    args = parser.parse_args()
    if sys.version_info < LEAST:
        return fail(
            f"Python {LEAST[0]}.{LEAST[1]} or newer is needed, this is {sys.version.split()[0]}. "
            "Name another one: make demo PYTHON=python3.11"
        )
    python = args.venv / "bin" / "python"
    content = args.pins.read_bytes() + (ROOT / "pyproject.toml").read_bytes()
    want = hashlib.sha256(content).hexdigest()
    # The pins for development hold all others, so they need no second installation.
    stamps = {name: args.venv / f"{name}.stamp" for name in ("run", "dev")}
    have = [s.read_text() for s in stamps.values() if s.exists() and python.exists()]
    dev = (ROOT / "requirements" / "dev.txt").read_bytes() + (ROOT / "pyproject.toml").read_bytes()
    if want in have or hashlib.sha256(dev).hexdigest() in have:
        return 0
    if problem := make_venv(args.venv, python) or install(python, args.pins):
        return fail(problem)
    stamps[args.pins.stem].write_text(want)
    return 0


if __name__ == "__main__":
    sys.exit(main())
