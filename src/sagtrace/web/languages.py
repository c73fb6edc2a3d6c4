"""Which language a request is answered in: as its device is set, else as its browser asks."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from sagtrace.web.views.people import Person
from sagtrace.web.words import ENGLISH, Words, speak

__all__ = ["choose", "Spoken"]

_MOST = 20  # chosen: languages that a browser asks for


class Spoken:
    """Lets every request be answered in its language.

    It is set once, here, and holds for the threads that a request goes through.
    """

    def __init__(self, app: ASGIApp, languages: Mapping[str, Words]) -> None:
        self.app, self.languages = app, languages

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "http" and len(self.languages) > 1:
            request = Request(scope)
            person = Person.of(request)
            asked = request.headers.get("accept-language", "")
            speak(choose(self.languages, person.language, asked))
        await self.app(scope, receive, send)


def choose(languages: Mapping[str, Words], chosen: str, asked: str) -> Words:
    """Return the language that was chosen if there is one, else the best that is asked for.

    `asked` is a header as RFC 9110, 12.5.4, has it; a range fits as RFC 4647, 3.4, looks it up.
    """
    if chosen in languages:
        return languages[chosen]
    known = {words.tag.lower(): words for words in languages.values()}
    for wanted in _by_weight(asked):
        while wanted:
            if wanted in known:
                return known[wanted]
            # A single letter or digit before the end goes along with what it introduces.
            wanted = wanted.rpartition("-")[0]
            if len(wanted) > 1 and wanted[-2] == "-":
                wanted = wanted[:-2]
    return ENGLISH


def _by_weight(asked: str) -> list[str]:
    found: list[tuple[float, str]] = []
    for part in asked.split(",")[:_MOST]:
        name, _, weight = part.partition(";")
        try:
            q = float(weight.strip().removeprefix("q=") or 1.0) if weight else 1.0
        except ValueError:
            continue
        if 0.0 < q <= 1.0:
            found.append((q, name.strip().lower()))
    return [name for _, name in sorted(found, key=lambda each: -each[0])]
