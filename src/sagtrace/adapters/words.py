"""The words by which people name the columns of a recording, from the knowledge."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from sagtrace.adapters.documents import load_located
from sagtrace.signals.naming import Words

__all__ = ["load_words"]

_FILE = "knowledge/recording/words.yaml"


@cache
def load_words() -> Words:
    """Return the shipped words. Raises DocumentError with line and field for a mistake."""
    text = (files("sagtrace") / _FILE).read_text(encoding="utf-8")
    return load_located(text, _FILE).into(Words)
