"""What the makers of documents share: write the page, or say that it is out of date."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path


def write_or_check(target: Path, page: Callable[[], str], about: str | None) -> int:
    """Write the page to its target; with --check write nothing and fail if it differs."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--check", action="store_true", help="write nothing; fail if it differs")
    args = parser.parse_args()
    new = page()
    if args.check:
        if target.exists() and target.read_text(encoding="utf-8") == new:
            return 0
        print(f"{target.name} is not what would be written now: make evidence", file=sys.stderr)
        return 1
    target.write_text(new, encoding="utf-8")
    print(f"written to {target}")
    return 0
