"""Which language a page speaks, catalogues that cannot be right, and texts that scripts write."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from babel.core import Locale
from babel.messages.plurals import get_plural
from fastapi.testclient import TestClient
from local import client_of
from playwright.sync_api import Browser, Page, expect

from cut_line import line_to
from pseudo import LANGUAGE, OPEN, SHUT, pseudo, write_pseudo
from sagtrace.cli.main import main
from sagtrace.errors import DocumentError
from sagtrace.web import serving
from sagtrace.web.catalogues import COUNTS, DOMAIN, LOCALE, read_catalogues
from sagtrace.web.languages import choose
from sagtrace.web.words import ENGLISH, Words, day_text, ngettext, speak, spoken
from workbench import Bench, Watch, fresh_desk, running

HEAD = """msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\\n"
"Plural-Forms: {forms}\\n"

"""
TWO = "nplurals=2; plural=(n != 1);"


def written(folder: Path, language: str, body: str, forms: str = TWO) -> Path:
    """Write a catalogue as a translator would, and return the folder of all."""
    place = folder / language / "LC_MESSAGES"
    place.mkdir(parents=True)
    (folder / f"{DOMAIN}.pot").write_bytes((LOCALE / f"{DOMAIN}.pot").read_bytes())
    (place / f"{DOMAIN}.po").write_text(HEAD.format(forms=forms) + body, encoding="utf-8")
    return folder


GERMAN = 'msgid "Settings"\nmsgstr "Einstellungen"\n'


@pytest.fixture
def german(tmp_path: Path) -> Iterator[TestClient]:
    with client_of(fresh_desk(), read_catalogues(written(tmp_path, "de", GERMAN))) as client:
        yield client


@pytest.fixture(autouse=True)
def english() -> Iterator[None]:
    yield
    speak(ENGLISH)


# --- which language


def language_of(client: TestClient, asked: str = "") -> str:
    page = client.get("/settings", headers={"Accept-Language": asked} if asked else {}).text
    found = re.search(r'<html lang="([^"]*)"', page)
    assert found is not None
    assert ("<h1>Einstellungen</h1>" in page) == (found[1] == "de")
    return found[1]


def test_a_page_speaks_what_the_browser_asks_for_and_what_was_chosen_goes_first(
    german: TestClient,
) -> None:
    assert language_of(german) == "en"
    assert language_of(german, "fr, de-AT;q=0.8, en;q=0.5") == "de"
    assert language_of(german, "fr") == "en"
    form = {"by": "", "language": "en"}
    answer = german.post("/settings", data=form, headers={"Origin": "http://127.0.0.1"})
    assert answer.status_code == 200
    assert language_of(german, "de") == "en"
    german.post("/settings", data={"language": "de"})
    assert language_of(german) == "de"


def test_a_language_that_is_not_there_is_not_kept(german: TestClient) -> None:
    german.post("/settings", data={"language": "xx"})
    assert language_of(german, "de") == "de"


def test_the_settings_offer_what_there_is(german: TestClient) -> None:
    page = german.get("/settings").text
    assert "Deutsch" in page
    assert 'name="language" value="de"' in page
    with client_of(fresh_desk()) as client:
        assert 'name="language"' not in client.get("/settings").text


def test_problems_are_told_in_the_language_too(tmp_path: Path) -> None:
    body = 'msgid "There is nothing at this address."\nmsgstr "Hier ist nichts."\n'
    body += '\nmsgid "Nothing has this id"\nmsgstr "Nichts heißt so"\n'
    with client_of(fresh_desk(), read_catalogues(written(tmp_path, "de", body))) as client:
        client.headers["Accept-Language"] = "de"
        assert "Hier ist nichts." in client.get("/nothing").text
        assert client.get("/api/v1/nothing").json()["detail"] == "Hier ist nichts."
        assert 'lang="de"' in client.get("/jobs/demo/vehicle?part=wing").text


def test_a_defect_is_told_in_the_language_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = 'msgid "Defect"\nmsgstr "Fehler im Programm"\n'
    desk = fresh_desk()
    monkeypatch.setattr(type(desk), "jobs", lambda *_: 1 / 0)
    with client_of(desk, read_catalogues(written(tmp_path, "de", body))) as client:
        answer = client.get("/", headers={"Accept-Language": "de"})
    assert answer.status_code == 500
    assert "Fehler im Programm" in answer.text


def test_what_draws_a_recording_is_not_taken_for_that_of_another_language(tmp_path: Path) -> None:
    body = 'msgid "Height, %(where)s"\nmsgstr "Höhe, %(where)s"\n'
    with client_of(fresh_desk(), read_catalogues(written(tmp_path, "de", body))) as client:
        at = "/api/v1/jobs/demo/recordings/r1/channels"
        titles = [
            {panel["title"] for panel in client.get(at, headers=headers).json()["panels"]}
            for headers in ({}, {"Accept-Language": "de"}, {})
        ]
    assert "Height, rear axle" in titles[0]
    assert "Höhe, rear axle" in titles[1]
    assert titles[2] == titles[0]


def speaking(*languages: str) -> Mapping[str, Words]:
    return {"en": ENGLISH} | {name: Words(language=name, name=name) for name in languages}


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("", "en"),
        ("*", "en"),
        ("de", "de"),
        ("DE-at", "de"),
        ("pt", "en"),  # a range fits what is as wide as itself
        ("pt-BR", "pt_BR"),
        ("pt-br-x-own", "pt_BR"),
        ("fr, de;q=0.2, pt-BR;q=0.9", "pt_BR"),
        ("de;q=0, pt-BR;q=0.1", "pt_BR"),
        ("de;q=high, pt-BR;q=0.1", "pt_BR"),
        ("de;q=", "de"),
        ("," * 4000, "en"),
        ("en, de", "en"),
    ],
)
@pytest.mark.from_memory("RFC 4647, 3.4 Lookup; RFC 9110, 12.5.4 Accept-Language")
def test_the_best_language_that_is_asked_for_is_found(asked: str, found: str) -> None:
    assert choose(speaking("de", "pt_BR"), "", asked).language == found


def test_a_language_that_is_written_from_the_right_is_shown_so(tmp_path: Path) -> None:
    folder = written(tmp_path, "ar", 'msgid "Settings"\nmsgstr "الإعدادات"\n')
    with client_of(fresh_desk(), read_catalogues(folder)) as client:
        page = client.get("/settings", headers={"Accept-Language": "ar"}).text
    assert '<html lang="ar" dir="rtl"' in page


# --- numbers and days

POLISH = "nplurals=3; plural=(n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2);"
ENTRY = "%(num)s entry is held on this device and will be sent when it answers."
ENTRIES = "%(num)s entries are held on this device and will be sent when it answers."
PLURAL = f'msgid "{ENTRY}"\nmsgid_plural "{ENTRIES}"\n' + "".join(
    f'msgstr[{i}] "{word} %(num)s"\n' for i, word in enumerate(("one", "few", "many"))
)
COUNTED = (0, 1, 2, 4, 5, 11, 12, 21, 22, 25, 100, 101, 102, 112, 122, 199, 200, 201, 212, 1002)


@pytest.mark.from_memory("GNU gettext manual, Additional functions for plural forms: Polish")
def test_numbers_have_the_forms_of_the_language(tmp_path: Path, browser: Browser) -> None:
    """In Python and in a script, which has the forms of the first numbers only."""
    languages = read_catalogues(written(tmp_path, "pl", PLURAL, POLISH))
    speak(languages["pl"])
    rule = Locale("pl").plural_form  # of the CLDR, which is another source
    expected = [f"{rule(n)} {n}" for n in COUNTED]
    assert [ngettext(ENTRY, ENTRIES, n) for n in COUNTED] == expected
    with running(fresh_desk(), languages=languages) as bench:
        page = browser.new_page(base_url=bench.url, locale="pl")
        page.goto("/settings")
        said = page.evaluate(
            """async ([one, many, counted]) => {
              const { ngettext } = await import("/static/words.js");
              return counted.map((n) => ngettext(one, many, n));
            }""",
            [ENTRY, ENTRIES, COUNTED],
        )
        page.close()
    assert said == expected


@pytest.mark.arithmetic("the plural rules that Babel has for each language, compared with theirs")
@pytest.mark.parametrize("language", ["ar", "cs", "de", "fr", "ja", "lt", "pl", "ru", "sl"])
def test_the_last_two_digits_tell_the_form_beyond_what_a_script_holds(language: str) -> None:
    from gettext import c2py

    rule = c2py(get_plural(language).plural_expr)
    for n in (*range(COUNTS, 5 * COUNTS), 1002, 10_011, 100_101):
        assert rule(n) == rule(100 + n % 100), n


@pytest.mark.from_memory("CLDR: a date with day of the week in German")
def test_days_are_written_as_the_language_does(tmp_path: Path) -> None:
    from datetime import datetime

    moment = datetime(2026, 11, 24)
    assert day_text(moment, year=True) == "Tue 24 Nov 2026"
    speak(read_catalogues(written(tmp_path, "de", GERMAN))["de"])
    assert spoken().tag == "de"
    assert day_text(moment, year=True) == "Di., 24. Nov. 2026"
    assert day_text(moment, year=False) == "Di., 24. Nov."


# --- catalogues that cannot be right

WITH_PLACE = "Begun %(at)s, read after %(ready)s"


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('msgid "Settings"\nmsgstr "Einst\n', "line 7: "),
        ('msgid "Settings"\nmsgstr "Ein"st"\n', "line 7: "),
        ("what is this\n", "line 6: "),
        (f'msgid "{WITH_PLACE}"\nmsgstr "Seit %(at)s"\n', "lacks %(ready)s"),
        (f'msgid "{WITH_PLACE}"\nmsgstr "%(at)s %(ready)s %(now)s"\n', "can be put in"),
        ('msgid "Settings"\nmsgstr "100 % fertig"\n', "write a per cent sign %%"),
        ('msgid "Settings"\nmsgstr "<b>Fett</b>"\n', "take </b>, <b> out"),
        (f'msgid "{ENTRY}"\nmsgid_plural "{ENTRIES}"\nmsgstr[0] "%(num)s"\n', "2 forms are needed"),
    ],
)
def test_a_catalogue_that_would_break_a_page_is_refused(
    tmp_path: Path, body: str, said: str
) -> None:
    with pytest.raises(DocumentError, match=re.escape(said)) as found:
        read_catalogues(written(tmp_path, "de", body))
    assert f"{DOMAIN}.po" in str(found.value)


def test_a_catalogue_in_another_encoding_is_refused(tmp_path: Path) -> None:
    folder = written(tmp_path, "de", "")
    path = folder / "de" / "LC_MESSAGES" / f"{DOMAIN}.po"
    path.write_bytes(path.read_bytes() + 'msgid "Settings"\nmsgstr "Größe"\n'.encode("latin-1"))
    with pytest.raises(DocumentError, match="UTF-8"):
        read_catalogues(folder)


@pytest.mark.parametrize(
    ("forms", "said"),
    [
        ("nplurals=2; plural=__import__('os');", "Plural-Forms: "),
        ("nplurals=2; plural=n ? ;", "Plural-Forms: "),
        ("nplurals=x; plural=n;", "cannot be read"),
        ("nplurals=2; plural=n;", "Plural-Forms: form 199 of 2"),
        ("nplurals=2; plural=1/n;", "Plural-Forms: "),
    ],
)
def test_a_plural_rule_that_is_none_is_refused(tmp_path: Path, forms: str, said: str) -> None:
    with pytest.raises(DocumentError, match=said):
        read_catalogues(written(tmp_path, "de", GERMAN, forms))


def test_a_folder_that_names_no_language_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DocumentError, match="names no language"):
        read_catalogues(written(tmp_path, "German", GERMAN))


def test_what_is_not_translated_or_fuzzy_stays_english(tmp_path: Path) -> None:
    body = '#, fuzzy\nmsgid "Settings"\nmsgstr "Einstellungen"\n\nmsgid "Keep"\nmsgstr ""\n'
    with client_of(fresh_desk(), read_catalogues(written(tmp_path, "de", body))) as client:
        page = client.get("/settings", headers={"Accept-Language": "de"}).text
    assert "<h1>Settings</h1>" in page
    assert "<button>Keep</button>" in page


def test_the_command_says_what_is_wrong_with_a_catalogue(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path, "de", "what is this\n")
    monkeypatch.setattr(serving, "read_catalogues", lambda: read_catalogues(folder))
    code = main(["serve", "--port", "0", "--store", str(tmp_path / "store.db")])
    said = capsys.readouterr().err
    assert code != 0
    assert f"{DOMAIN}.po" in said
    assert "Traceback" not in said


# --- what scripts write


@pytest.fixture(scope="module")
def strange(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    languages = read_catalogues(write_pseudo(tmp_path_factory.mktemp("locale")))
    with running(fresh_desk(), languages=languages) as found:
        yield found


def test_a_script_writes_in_the_language_of_the_page(strange: Bench, browser: Browser) -> None:
    address = strange.server.servers[0].sockets[0].getsockname()[:2]
    with line_to(address) as line:
        own = f"http://127.0.0.1:{line.port}"
        context = browser.new_context(base_url=own, locale="en-XA")
        watch = Watch(own=own)
        page: Page = watch.over(context.new_page())
        page.goto("/jobs/demo/evidence")
        assert page.locator("html").get_attribute("lang") == LANGUAGE.replace("_", "-")
        expect(page.get_by_role("heading", level=1)).to_have_text(re.compile(f"^{OPEN}.*{SHUT}$"))
        line.up = line.down = lambda _: True
        expect(page.locator("#line")).to_have_text(
            f"{pseudo('No line to the program.')} {pseudo('What you type stays on this device.')}"
        )
        watch.check(["Failed to load resource"])
        context.close()
