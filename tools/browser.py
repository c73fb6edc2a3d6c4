"""Finds the browser that the tests of the pages need, and installs Debian's where it may.

Run by `make test`. Standard library only.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser", "google-chrome")
COMMAND = ["apt-get", "install", "-y", "--no-install-recommends", "chromium"]


def found() -> str | None:
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def install() -> bool:
    print("setup: installing Debian's chromium (the pages are tested in it) ...", flush=True)
    env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    done = subprocess.run(COMMAND, env=env, text=True, capture_output=True, check=False)
    if done.returncode != 0:  # the list of packages may be old
        subprocess.run(["apt-get", "update"], env=env, capture_output=True, check=False)
        done = subprocess.run(COMMAND, env=env, text=True, capture_output=True, check=False)
    if done.returncode != 0:
        print("\n".join((done.stdout + done.stderr).strip().splitlines()[-10:]), file=sys.stderr)
    return done.returncode == 0


def main() -> int:
    if found():
        return 0
    may = shutil.which("apt-get") is not None and os.geteuid() == 0
    if may and install() and found():
        return 0
    print(
        "\nsetup: the tests of the pages need a Chromium, and there is none on this machine. "
        f"Install it, then run make again: sudo {' '.join(COMMAND)}",
        file=sys.stderr,
    )
    return 1


if __name__ == "__main__":
    sys.exit(main())
