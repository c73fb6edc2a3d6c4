"""Writes the catalogue of everything that the pages say, for translators: locale/sagtrace.pot.

From the templates, the Python and the scripts of src/sagtrace/web. It names files without lines and
has no date, so that it changes only when a text does. `--check` writes nothing and says whether it
is what would be written now.
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import write_po

from generated import write_or_check
from sagtrace.web.catalogues import DOMAIN, LOCALE

WEB = LOCALE.parent
PAGE = LOCALE / f"{DOMAIN}.pot"
KEYWORDS: dict[str, tuple[int, ...] | None] = {"_": None, "later": None, "ngettext": (1, 2)}
COMMENTS = ("Translators:",)
METHODS = {".py": "python", ".html": "jinja2.ext:babel_extract", ".js": "javascript"}
DATED = re.compile(
    r'^"(POT-Creation-Date|PO-Revision-Date|Generated-By|Last-Translator): .*\n', re.M
)

HEADER = """\
# What the pages of sagtrace say; written by tools/make_messages.py, do not edit.
# docs/translating.md tells how a language is added.
# %(name)s is put in by the program and must stay; a per cent sign is written %%."""


def sources() -> Iterator[Path]:
    """Yield every file that may say something on a page."""
    yield from sorted(path for path in WEB.rglob("*") if path.suffix in METHODS)


def catalogue() -> Catalog:
    """Return every message with the files that it comes from."""
    found = Catalog(project=DOMAIN, header_comment=HEADER, fuzzy=False, charset="utf-8")
    for path in sources():
        name = path.relative_to(WEB).as_posix()
        with path.open("rb") as file:
            for _, text, comments, _ in extract(
                METHODS[path.suffix], file, KEYWORDS, COMMENTS,
                {"newstyle_gettext": "true", "trim_blocks": "true", "lstrip_blocks": "true"},
                strip_comment_tags=True,
            ):  # fmt: skip
                found.add(text, None, [(name, 0)], auto_comments=comments)
    return found


def page() -> str:
    """Return the whole catalogue."""
    made = io.BytesIO()
    write_po(made, catalogue(), width=0, sort_output=True, include_lineno=False)
    return DATED.sub("", made.getvalue().decode())


def main() -> int:
    PAGE.parent.mkdir(exist_ok=True)
    return write_or_check(PAGE, page, __doc__)


if __name__ == "__main__":
    sys.exit(main())
