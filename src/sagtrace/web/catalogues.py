"""Message catalogues: `locale/<language>/LC_MESSAGES/sagtrace.po`, read and checked at the start.

What the pages say is in `sagtrace.pot`, which tools/make_messages.py writes; docs/translating.md
tells how a language is added.
"""

from __future__ import annotations

import gettext
import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sagtrace.errors import DocumentError
from sagtrace.web.words import ENGLISH, Words

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog, Message

__all__ = ["DOMAIN", "LOCALE", "read_catalogues"]

LOCALE = Path(__file__).parent / "locale"
DOMAIN = "sagtrace"
COUNTS = 200  # beyond, the form of a number follows its last two digits in every language of CLDR
_PLACE = re.compile(r"%\((\w+)\)s")
_LINE = re.compile(
    r'\s*(#.*|((msgctxt|msgid|msgid_plural|msgstr(\[\d+\])?)\s*)?"([^"\\]|\\.)*"\s*)?'
)
_TAG = re.compile(r"<[^>]*>?|&\w+;")


def read_catalogues(folder: Path = LOCALE) -> Mapping[str, Words]:
    """Return the languages that the pages can speak, by name; English is always among them.

    Raises DocumentError for a catalogue that cannot be right.
    """
    found = {ENGLISH.language: ENGLISH}
    paths = sorted(folder.glob(f"*/LC_MESSAGES/{DOMAIN}.po"))
    if not paths:
        return found  # the usual case, which needs no library
    scripts = _said_by_scripts(_parse(folder / f"{DOMAIN}.pot"))
    for path in paths:
        words = _read(path, scripts)
        found[words.language] = words
    return found


def _read(path: Path, scripts: frozenset[str]) -> Words:
    from babel import Locale, UnknownLocaleError
    from babel.messages.mofile import write_mo

    language = path.parents[1].name
    if not re.fullmatch(r"[a-z]{2,3}(_[A-Za-z0-9]{2,8})*", language):
        problem = f"the folder {language!r} names no language; expected one such as de or pt_BR"
        raise DocumentError(str(path), None, "", problem)
    catalog = _parse(path)
    for message in catalog:
        _check(path, message, catalog.num_plurals)
    compiled = io.BytesIO()
    write_mo(compiled, catalog)
    compiled.seek(0)
    try:
        texts = gettext.GNUTranslations(compiled)
        forms = [_form(texts, n) for n in range(COUNTS)]
    except (ValueError, ZeroDivisionError) as err:
        raise DocumentError(str(path), None, "Plural-Forms", f"{err}") from None
    if (most := max(forms)) >= catalog.num_plurals:
        problem = f"form {most} of {catalog.num_plurals}, which are counted from 0"
        raise DocumentError(str(path), None, "Plural-Forms", problem)
    try:
        locale = Locale.parse(language)
        name, rtl = locale.get_display_name() or language, locale.text_direction == "rtl"
        name = name[:1].upper() + name[1:]
    except UnknownLocaleError:  # a language that babel has no data of can be spoken all the same
        name, rtl = language, False
    script = _script(forms, catalog, scripts)
    return Words(language=language, name=name, rtl=rtl, texts=texts, script=script)


def _parse(path: Path) -> Catalog:
    from babel.messages.pofile import PoFileError, read_po

    try:
        text = path.read_text(encoding="utf-8-sig")
        for number, line in enumerate(text.split("\n"), 1):
            if not _LINE.fullmatch(line):  # because the library would leave a letter out
                problem = (
                    f"{line.strip()!r} is no line of a catalogue; is a quotation mark missing?"
                )
                raise DocumentError(str(path), number, "", problem)
        return read_po(io.StringIO(text), domain=DOMAIN, abort_invalid=True)
    except PoFileError as err:
        problem = f"it cannot be read: {err}. Put the line right, or take the file away"
        raise DocumentError(str(path), err.lineno + 1, "", problem) from None
    except UnicodeDecodeError as err:
        problem = f"{err.reason} at byte {err.start}; save it as UTF-8, or take the file away"
        raise DocumentError(str(path), None, "", problem) from None
    except (OSError, ValueError, LookupError, TypeError, AttributeError) as err:
        problem = f"it cannot be read: {err}. Put it right, or take the file away"
        raise DocumentError(str(path), None, "", problem) from None


def _check(path: Path, message: Message, forms: int) -> None:
    """Refuse a translation that would break the page that it is put into."""
    ids, texts = _all(message.id), _all(message.string)
    if not message.id or message.fuzzy or not any(texts):
        return
    if message.pluralizable and (len(texts) != forms or not all(texts)):
        raise _wrong(path, message, f"{forms} forms are needed, and none may be empty")
    places, tags = set(_PLACE.findall("".join(ids))), set(_TAG.findall("".join(ids)))
    for text in texts:
        own = set(_PLACE.findall(text))
        try:
            text % dict.fromkeys(places, "")
        except (KeyError, ValueError, TypeError):
            allowed = ", ".join(f"%({p})s" for p in sorted(places)) or "nothing"
            raise _wrong(
                path, message, f"{text!r}: {allowed} can be put in; write a per cent sign %%"
            ) from None
        if not message.pluralizable and own != places:
            missing = ", ".join(f"%({p})s" for p in sorted(places - own))
            raise _wrong(path, message, f"{text!r} lacks {missing}")
        if foreign := set(_TAG.findall(text)) - tags:
            raise _wrong(path, message, f"{text!r}: take {', '.join(sorted(foreign))} out")


def _wrong(path: Path, message: Message, problem: str) -> DocumentError:
    return DocumentError(str(path), message.lineno, repr(_all(message.id)[0]), problem)


def _all(texts: object) -> tuple[str, ...]:
    return tuple(texts) if isinstance(texts, tuple | list) else (str(texts),)


def _said_by_scripts(template: Catalog) -> frozenset[str]:
    """Return the messages that static scripts use."""
    return frozenset(
        _all(m.id)[0] for m in template if any(where.endswith(".js") for where, _ in m.locations)
    )


def _script(forms: Sequence[int], catalog: Catalog, scripts: frozenset[str]) -> str:
    """Return the JSON that static/words.js reads: texts by English text, and which form when."""
    plain: dict[str, str] = {}
    plural: dict[str, list[str]] = {}
    for key, given in _translated(catalog):
        if key in scripts:
            if len(given) > 1:
                plural[key] = list(given)
            else:
                plain[key] = given[0]
    # The forms are counted out, because a script may not evaluate what a catalogue says.
    found = json.dumps({"texts": plain, "plurals": plural, "forms": [*forms]}, ensure_ascii=False)
    return found.replace("<", "\\u003c")  # because it stands in a page


def _translated(catalog: Catalog) -> Iterator[tuple[str, tuple[str, ...]]]:
    for message in catalog:
        given = _all(message.string)
        if message.id and not message.fuzzy and all(given):
            yield _all(message.id)[0], given


def _form(texts: gettext.NullTranslations, n: int) -> int:
    assert isinstance(texts, gettext.GNUTranslations)
    return int(texts.plural(n))  # type: ignore[attr-defined]  # made from Plural-Forms by gettext
