"""Numbers are shown in the units and with the decimal sign of the person; own words stay."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser

import pypdfium2 as pdfium
import pytest
from fastapi.testclient import TestClient
from local import client_of

from every_page import AT, LOOKS, desk_of_everything
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.report.heading import Heading
from sagtrace.units import Reader, parse_quantity
from sagtrace.vehicle.job import NOT_DONE, Approval, Entry, Note
from sagtrace.web.rewriting import page_as_read
from sagtrace.web.views.people import BARE, Person, with_unit

WROTE = "6.6 bar"  # stands in everything that a person can write
# A unit behind a number, in brackets or alone.
METRIC = re.compile(
    r"(?:\d\s?|\[|^\s*|\bin )(?:mm|cm|m|bar|mbar|hPa|kPa|°C|K|L|mL|mL/min|L/min|km/h|cm²|mm/min)"
    r"(?![\w²/])(?! line)"
)
SILENT = ("script", "style", "textarea", "template", "code")
VOID = ("area", "base", "br", "col", "hr", "img", "input", "link", "meta", "wbr")


class Shown(HTMLParser):
    """Collects the texts of a page that are not somebody's own words."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.own: list[str] = []
        self.within: list[tuple[str, bool]] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.within.append((tag, ("translate", "no") in attrs or tag in SILENT))

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.within.pop()[0] == tag, "every element is closed"

    def handle_data(self, data: str) -> None:
        (self.own if any(own for _, own in self.within) else self.texts).append(data)


class Sign:
    """A workshop's heading that nobody changes."""

    def load(self) -> Heading:
        return Heading(name=words("works"), lines=(words("road"),))

    def save(self, heading: Heading) -> None:
        raise AssertionError(heading)


def words(what: str) -> str:
    return f"{what} at {WROTE}"


@pytest.fixture(scope="module")
def desk() -> Desk:
    desk = desk_of_everything()
    desk.workshop.headings = Sign()
    for name in ("demo", "repaired", "waiting", "proved"):
        job = desk.open(name).job
        offer = Approval(id="a8", repairs=job.repaired, offered=words("offer"), at=AT)
        yes = Approval(id="a9", repairs=job.repaired, offered=words("offer"), at=AT,
                       answer="approved", how="in person", who=words("owner"))  # fmt: skip
        desk.store.add(
            replace(
                job.tell({"reference": words("reference")}, AT, words("me")),
                id=f"own-{name}",
                title=words("order"),
                complaint=words("complaint"),
                entries=(
                    *(
                        replace(e, note=words("note"), by=words("me"), instrument=words("gauge"))
                        for e in job.entries
                    ),
                    Entry(id="e90", check="story.load", outcome=NOT_DONE, note=words("lack")),
                ),
                notes=(Note(id="n1", text=words("remark"), at=AT, by=words("me")),),
                approvals=(offer, yes) if job.repaired else (),
                begun=tuple(replace(b, note=words("begun")) for b in job.begun),
                recordings=(),
            ),
            Mark(what="import", at=AT, by=words("me")),
            {},
        )
    return desk


@pytest.fixture(scope="module")
def client(desk: Desk) -> Iterator[TestClient]:
    with client_of(desk) as client:
        yield client


def get(client: TestClient, path: str, units: str, numbers: str) -> str:
    cookies = {"units": units, "numbers": numbers}
    headers = {"Cookie": "; ".join(f"{k}={v}" for k, v in cookies.items())}
    return client.get(path, headers=headers).text


PATHS = tuple(dict.fromkeys(look.path for look in LOOKS if "{" not in look.path))
OWN_PATHS = ("/", *(
    f"/jobs/own-{job}{place}"
    for job in ("demo", "repaired", "waiting", "proved")
    for place in ("", "/evidence", "/verdict", "/vehicle", "/vehicle?part=pump", "/repair",
                  "/papers", "/papers/customer", "/papers/technical", "/recordings",
                  "/checks/feed.loss", "/checks/hold.overnight@left")
))  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_nothing_metric_is_left_for_who_reads_inches(client: TestClient, path: str) -> None:
    shown = Shown(get(client, path, "imperial", "point"))
    assert [t for t in shown.texts if METRIC.search(t)] == []


@pytest.mark.parametrize("path", PATHS)
def test_every_decimal_sign_is_a_comma_for_who_reads_commas(client: TestClient, path: str) -> None:
    shown = Shown(get(client, path, "metric", "comma"))
    assert [t for t in shown.texts if re.search(r"(?<![\w.])\d+\.\d+(?![\w.])", t)] == []


@pytest.mark.parametrize("path", OWN_PATHS)
def test_what_a_person_wrote_stays_as_it_was_written(client: TestClient, path: str) -> None:
    plain = get(client, path, "metric", "point")
    read = get(client, path, "imperial", "comma")
    assert plain.count(WROTE) == read.count(WROTE)


def test_a_page_is_left_as_it_is_for_who_reads_as_the_core_writes(client: TestClient) -> None:
    html = '<p title="5 bar">it is 5.5 bar</p><p translate="no">5.5 bar<b>5 bar</b></p>'
    assert page_as_read(html, Reader()) == html
    assert page_as_read(html, Reader(imperial=True, comma=True)) == (
        '<p title="73 psi">it is 80 psi</p><p translate="no">5.5 bar<b>5 bar</b></p>'
    )


@pytest.mark.parametrize(
    ("html", "read"),
    [
        ('<input value="5 bar" placeholder="5 bar">', '<input value="5 bar" placeholder="73 psi">'),
        ("<textarea>5 bar</textarea>5 bar", "<textarea>5 bar</textarea>73 psi"),
        ('<path d="M 5 L 6 m 5 bar"/>', '<path d="M 5 L 6 m 5 bar"/>'),
        ("<p>&lt; 5 bar</p>", "<p>&lt; 73 psi</p>"),
        ("<p>typed as &#39;5 bar&#39;, 5 bar</p>", "<p>typed as &#x27;5 bar&#x27;, 73 psi</p>"),
        ('<b translate="no"><b>5 m</b>5 m</b>5 bar', '<b translate="no"><b>5 m</b>5 m</b>73 psi'),
    ],
)  # fmt: skip
def test_only_texts_and_spoken_attributes_are_rewritten(html: str, read: str) -> None:
    assert page_as_read(html, Reader(imperial=True)) == read


@pytest.mark.parametrize("address", ["/api/v1/jobs/demo/papers/{}.pdf", "/jobs/demo/papers/{}.pdf"])
@pytest.mark.parametrize("paper", ["customer", "technical"])
def test_the_printed_paper_is_read_as_the_page_is(
    client: TestClient, address: str, paper: str
) -> None:
    """A program says in the address what a person's device says in its settings."""
    path = address.format(paper)
    cookie = {"Cookie": "units=imperial; numbers=comma"}
    if path.startswith("/api"):
        answer = client.get(f"{path}?units=imperial&numbers=comma")
    else:
        answer = client.get(path, headers=cookie)
    pages = pdfium.PdfDocument(answer.content)
    text = "\n".join(page.get_textpage().get_text_range() for page in pages)
    assert "mL/min" not in text
    if paper == "technical":
        assert re.search(r"\d,\d+ ± \d+,\d+ in³/min", text)


def test_a_refusal_names_its_limits_as_they_are_read(client: TestClient) -> None:
    """The page that asked gets the person's units, a program the core's."""
    values = {"height-start": "9999.5 mm", "height-end": "400 mm", "time": "3 min"}
    body = {"check": "hold.short@left", "values": values}

    def refused(cookie: str) -> str:
        headers = {"Cookie": cookie} if cookie else {}
        answer = client.post("/api/v1/jobs/fresh/entries", json=body, headers=headers)
        assert answer.status_code == 422
        return str(answer.json()["detail"])

    assert "9999.5 mm: must be between -500 and 5000 mm" in refused("")
    assert "9999,5 mm: must be between" in refused("numbers=comma")
    assert "393.681 in: must be between" in refused("units=imperial")
    assert "196.85 in" in refused("units=imperial")


@pytest.mark.parametrize(
    ("language", "sign"),
    [("de-DE,de;q=0.9,en;q=0.8", ","), ("en-GB,en;q=0.9", "."), ("xx-nothing, fr;q=0.5", ",")],
)
def test_the_decimal_sign_follows_the_language_of_the_device(
    client: TestClient, language: str, sign: str
) -> None:
    """Until somebody chooses one in the settings. Signs: Unicode CLDR, by Babel."""
    page = client.get("/settings", headers={"Accept-Language": language}).text
    assert f'data-decimal="{sign}"' in page
    said = {"Accept-Language": language, "Cookie": "numbers=point"}
    assert 'data-decimal="."' in client.get("/settings", headers=said).text


@pytest.mark.parametrize(
    "typed",
    ["15.5", "15½", "½", "15 1/2", "15-1/2", "15,5 ± 0,1", "½ ± ½", "1.5e1", "–5", "‑5"],
)
def test_a_bare_number_is_taken_in_the_unit_beside_its_field(typed: str) -> None:
    """However it is written: what the reader of numbers takes as bare gets that unit."""
    meant = parse_quantity(typed, "temperature", name="it", default_unit="°F")
    taken = parse_quantity(with_unit(typed, "°F"), "temperature", name="it", default_unit="°C")
    assert (taken.value, taken.std) == (meant.value, meant.std)


@pytest.mark.parametrize("typed", ["403 mm", "5 ft 3 in", "9°C", "11 h 30 min", "5'", "about 15"])
def test_what_names_a_unit_gets_no_other(typed: str) -> None:
    assert with_unit(typed, "in") == typed


def test_script_and_server_take_the_same_numbers_as_bare(client: TestClient) -> None:
    script = client.get("/static/forms.js").text
    found = re.search(r"const BARE =\s*/\^(.*)\$/;", script)
    assert found is not None
    assert found[1].replace("\\/", "/") == BARE.pattern


def test_a_refused_form_says_in_which_unit_its_numbers_are_taken(client: TestClient) -> None:
    form = {"check": "feed.loss", "values.loss": "much", "unit:values.loss": "V", "key": "k2"}
    page = client.post("/jobs/fresh/do/answer", data=form)
    assert page.status_code == 422
    assert re.search(r'<label for="again-\d">[^<]* <span class="unit">V</span></label>', page.text)
    assert '<input type="hidden" name="unit:values.loss" value="V">' in page.text


@pytest.mark.parametrize(
    ("value", "std", "unit", "metric", "imperial"),
    [  # rounded at the second digit of the spread once converted (JCGM 100:2008, 7.2.6)
        (403.0, 1.0, "mm", "403 ± 1 mm", "15.866 ± 0.039 in"),
        (26.0, 6.0, "L/min", "26 ± 6 L/min", "1590 ± 370 in³/min"),
        (15000.0, 400.0, "mL/min", "15000 ± 400 mL/min", "915 ± 24 in³/min"),
        (5.0, 2.0, "%", "5 ± 2 %", "5 ± 2 %"),
        (20.0, 0.0, "°C", "20 °C", "68 °F"),
    ],
)  # fmt: skip
def test_an_assumed_value_is_shown_without_powers_of_ten(
    value: float, std: float, unit: str, metric: str, imperial: str
) -> None:
    assert Person().spread(value, std, unit) == metric
    assert Person(imperial=True).spread(value, std, unit) == imperial


def test_the_address_of_a_calculator_says_in_which_units_it_was_typed(client: TestClient) -> None:
    shown = get(client, "/calculators/units-length", "imperial", "point")
    assert 'name="units"' not in shown  # it shows every unit there is
    path = "/calculators/leak-from-drop"
    form = get(client, path, "imperial", "point")
    assert '<input type="hidden" name="units" value="imperial">' in form
    asked = "height-start=15.9&height-end=15.5&time=10+h&units=imperial&go=1"
    named = "height-start=15.9+in&height-end=15.5+in&time=10+h&go=1"
    assert answers(client, f"{path}?{asked}")
    assert answers(client, f"{path}?{asked}") == answers(client, f"{path}?{named}")


def answers(client: TestClient, path: str) -> list[str]:
    return re.findall(r'<p class="calculation">(.*?)</p>', get(client, path, "metric", "point"))
