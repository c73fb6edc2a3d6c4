"""How systems are drawn, from the knowledge: the schematic, and pictures of where to measure."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable

from sagtrace.adapters.documents import load_located
from sagtrace.report.pictures import PictureBook, picture_problems
from sagtrace.report.schematic_rules import Drawing, drawing_problems
from sagtrace.vehicle.knowledge import Knowledge

__all__ = ["load_drawing", "load_pictures", "SHIPPED"]

SHIPPED = files("sagtrace") / "knowledge" / "drawing"


def load_drawing(folder: Traversable, knowledge: Knowledge) -> Drawing:
    """Return how systems are drawn. Raises DocumentError at the first mistake, with its line."""
    document = load_located(
        (folder / "schematic.yaml").read_text(encoding="utf-8"), "drawing/schematic.yaml"
    )
    drawing = document.into(Drawing)
    components = {component.id: component for component in knowledge.components}
    nodes = {node.id: node for node in knowledge.nodes()}
    for path, text in drawing_problems(drawing, components, nodes):
        raise document.error(path, text)
    return drawing


def load_pictures(folder: Traversable, knowledge: Knowledge) -> PictureBook:
    """Return which picture shows which check. Raises DocumentError at the first mistake."""
    document = load_located(
        (folder / "pictures.yaml").read_text(encoding="utf-8"), "drawing/pictures.yaml"
    )
    book = document.into(PictureBook)
    for path, text in picture_problems(book, {check.id for check in knowledge.checks}):
        raise document.error(path, text)
    return book
