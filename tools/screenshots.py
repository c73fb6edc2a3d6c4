"""Writes a picture of every page in every state: `screenshots.py FOLDER`.

The pages are those that the tests walk through (`tests/every_page.py`), so none is left out.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from every_page import LOOKS, desk_of_everything, go, send_recording  # noqa: E402
from workbench import chromium, running  # noqa: E402

# Of a phone, a tablet and a desk, as wide as the pages are made for.
SHOTS = ((390, "light"), (1024, "light"), (1024, "dark"), (1440, "light"))


def shoot(folder: Path, only: str = "") -> Iterator[Path]:
    """Yield every picture once it is written; `only` is a part of the names that are wanted."""
    folder.mkdir(parents=True, exist_ok=True)
    with running(desk_of_everything()) as bench, chromium() as browser:
        sent = send_recording(bench)
        context = browser.new_context(base_url=bench.url, has_touch=True)
        page = context.new_page()
        for look in (look for look in LOOKS if only in look.name):
            for width, scheme in SHOTS:
                page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
                page.set_viewport_size({"width": width, "height": 900})
                go(page, look, sent, unfold=False)
                path = folder / f"{look.name}-{width}-{scheme}.png"
                page.screenshot(path=path, full_page=True)
                yield path
        context.close()


def main() -> int:
    if len(sys.argv) not in (2, 3):
        print(f"usage: {Path(sys.argv[0]).name} FOLDER [PART OF A NAME]", file=sys.stderr)
        return 2
    folder = Path(sys.argv[1])
    count = sum(1 for _ in shoot(folder, sys.argv[2] if len(sys.argv) == 3 else ""))
    print(f"{count} pictures in {folder}")
    return 0 if count else 1


if __name__ == "__main__":
    sys.exit(main())
