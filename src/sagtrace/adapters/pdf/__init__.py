"""A paper on A4: the tree of `sagtrace.report.tree` printed as tagged PDF or as pictures.

Python decides what is shown and where a figure's parts go; the two `.typ` files beside this
module decide how it looks. The texts travel as JSON and are never read as markup. Nothing is
fetched or written, no font of the machine is used, and the same paper gives the same bytes.
Limits: one page size, one language (English), no pictures from files.
"""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from sagtrace.adapters.pdf.glyphs import FAMILY, font_folder, read_face
from sagtrace.adapters.pdf.wire import to_wire
from sagtrace.errors import DomainError, MissingPartError
from sagtrace.report.tree import Paper

if TYPE_CHECKING:
    from typst import Fonts

__all__ = ["render_pdf", "render_png"]

TEMPLATES = ("figures.typ", "paper.typ")  # in this order: the paper uses the figures
STANDARD: Final = "ua-1"  # ISO 14289-1: the maker refuses a page that a screen reader cannot read
MISSING = 'The printed paper needs two more packages: pip install "sagtrace[paper]"'
MAX_PPI = 600.0  # [1/inch] chosen: one A4 page is about 35 million dots, 140 MB


def render_pdf(paper: Paper) -> bytes:
    """Return the paper as a PDF file. Raises MissingPartError without the `paper` extra."""
    fonts = _fonts()
    import typst  # because everything else must work without it

    return typst.compile(
        _template(),
        format="pdf",
        font_paths=fonts,
        ignore_system_fonts=True,
        sys_inputs=_inputs(paper),
        pdf_standards=STANDARD,
    )


def render_png(paper: Paper, ppi: float = 110.0) -> list[bytes]:
    """Return one PNG picture a page, `ppi` dots an inch. Raises as `render_pdf` does."""
    if not 0.0 < ppi <= MAX_PPI:
        raise DomainError("ppi", ppi, "1/inch", f"above 0 and at most {MAX_PPI:g}")
    fonts = _fonts()
    import typst  # because everything else must work without it

    made = typst.Compiler(
        _template(), font_paths=fonts, ignore_system_fonts=True, sys_inputs=_inputs(paper)
    ).compile(format="png", ppi=ppi)
    return made if isinstance(made, list) else [made] if made else []


def _inputs(paper: Paper) -> dict[str, str]:
    wire = to_wire(paper, read_face())
    return {"data": json.dumps(wire, allow_nan=False), "family": FAMILY}


@cache
def _template() -> bytes:
    folder = files(__name__)
    return b"\n".join((folder / name).read_bytes() for name in TEMPLATES)


@cache
def _fonts() -> Fonts:
    try:
        import typst

        folder = str(font_folder())
    except ModuleNotFoundError as err:
        raise MissingPartError(MISSING) from err
    return typst.Fonts(include_system_fonts=False, font_paths=[folder])
