"""A finished page with its numbers as a person reads them: texts and spoken attributes alone.

What a person wrote stands in an element with `translate="no"` (HTML: its content is not to be
localised) and is left; so is what is typed into a form, and what a script reads. Assumes the
pages' own HTML: every element but the void ones is closed, and a number stands beside its unit.
"""

from __future__ import annotations

import re
from html import escape, unescape

from sagtrace.units import METRIC, Reader

__all__ = ["page_as_read"]

_TAG = re.compile(r"<!--.*?-->|<(/?)([a-zA-Z][\w-]*)((?:\"[^\"]*\"|'[^']*'|[^>\"'])*)>", re.DOTALL)
_SPOKEN = re.compile(r'(\s(?:alt|aria-label|data-busy|data-what|placeholder|title)=")([^"]*)"')
_SILENT = ("script", "style", "textarea", "template", "code")
_VOID = ("area", "base", "br", "col", "hr", "img", "input", "link", "meta", "wbr")
_OWN = re.compile(r"\stranslate=\"no\"")


def page_as_read(html: str, reader: Reader) -> str:
    """Return a page or a part of one as it is read."""
    if reader == METRIC:
        return html
    parts: list[str] = []
    at, silent, depth = 0, "", 0
    for tag in _TAG.finditer(html):
        end, name, more = tag[1], tag[2], tag[3] or ""
        if not silent:
            parts.append(_text(html[at : tag.start()], reader))
            own = name is not None and bool(_OWN.search(more))
            parts.append(tag[0] if own or not more else _attributes(tag[0], reader))
            if (own or name in _SILENT) and not end and name not in _VOID:
                silent, depth = name, 1
        else:
            parts += html[at : tag.start()], tag[0]
            if name == silent and not more.endswith("/"):
                depth += -1 if end else 1
                silent = silent if depth else ""
        at = tag.end()
    rest = html[at:]
    return "".join([*parts, rest if silent else _text(rest, reader)])


def _text(text: str, reader: Reader) -> str:
    if not any(c.isdigit() for c in text):
        return text
    plain = unescape(text)
    told = reader.text(plain)
    return text if told == plain else escape(told)


def _attributes(tag: str, reader: Reader) -> str:
    return _SPOKEN.sub(lambda match: f'{match[1]}{_text(match[2], reader)}"', tag)
