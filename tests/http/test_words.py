# SPDX-License-Identifier: ISC
"""Pages in other languages. Every fixed word of a page that a browser asks for in French is French: a word without a
translation is marked as English (WCAG 2.2, success criterion 3.1.2), and no such mark is found on any kind of page."""
import pytest

from browser import Browser
from office import PEOPLE, Office
from pages import Page, tidy
from test_html import KINDS_EACH, kind_of

FRENCH = "fr-CA,fr;q=0.9,en;q=0.5"


def get(browser, target, language=FRENCH):
    answer = browser.send("GET", target, Accept_Language=language)
    page = Page(answer.text.encode())
    page.answer = answer
    return page


def crawl(browser):
    """Follows links from the start, and reads some pages of each kind. A form counts as a kind by its operation."""
    pages, waiting, read = {}, ["/", "/counter"], {}
    while waiting:
        target = waiting.pop(0)
        kind = kind_of(target)
        if target in pages or read.get(kind, 0) >= KINDS_EACH or "format=" in target or target == "/sign-out":
            continue
        read[kind] = read.get(kind, 0) + 1
        page = get(browser, target)
        if (page.answer.headers["Content-Type"] or "").startswith("text/html"):
            pages[target] = page
            waiting += page.links
    return pages


def english(page):
    """The words that are marked as English."""
    return {e.text for e in page.all() if e.get("lang") == "en"}


@pytest.fixture(scope="module")
def office(shared):
    return Office(shared)


@pytest.fixture(scope="module", params=["first-admin", "ann", "otto", "anchor-till", "miller-office"])
def crawled(office, request):
    service = office.service
    keys = {
        "first-admin": lambda: service.admin_key,
        "anchor-till": lambda: service.create_key("anchor-till", "pos", sites=["anchor", "brick"]),
        "miller-office": lambda: service.create_key("miller-office", "participant", participant="miller"),
        **{name: lambda name=name: office.keys[name] for name in PEOPLE},
    }
    return crawl(office.person(request.param, keys[request.param]()))


def test_no_word_is_missing_in_french(crawled):
    assert len(crawled) > 10
    missing = {word: target for target, page in crawled.items() for word in english(page)}
    assert missing == {}, "\n".join(sorted(f"{word}  ({target})" for word, target in missing.items()))


def test_no_attribute_is_missing_in_french(crawled):
    """Captions, titles of pictures and labels that only assistive technology reads have no mark of their own."""
    labels = {e.get("aria-label") for page in crawled.values() for e in page.all() if e.get("aria-label")}
    assert labels and not labels & {"Settlements", "To do", "Events of today"}


def test_every_page_is_valid(crawled):
    for target, page in crawled.items():
        assert tidy(page.source.encode()) == "", target
        assert page.root.first("html").get("lang") == "fr", target


# The language of a request --------------------------------------------------------------------------------------------
def language(page):
    assert page.answer.headers["Content-Language"] == page.root.first("html").get("lang")
    return page.root.first("html").get("lang")


@pytest.mark.parametrize(
    "accept, wanted", [(None, "en"), ("fr", "fr"), ("de, fr;q=0.2", "fr"), ("fr;q=0.1, en;q=0.2", "en"), ("de", "en")]
)
def test_the_browser_chooses(office, accept, wanted):
    """RFC 9110 section 12.5.4."""
    assert language(get(office.ann, "/v1/reports", accept)) == wanted
    assert language(get(Browser(office.service), "/sign-in", accept)) == wanted


def test_a_key_chooses_before_the_browser(office):
    made = office.admin.send(
        "POST", "/v1/keys", {"name": "yann", "holder": "yann", "role": "auditor", "language": "fr"}
    )
    assert made.status == 201 and made.json["language"] == "fr"
    yann = office.person("yann", made.json["key"])
    assert language(get(yann, "/", "en")) == "fr"
    assert office.service.client(made.json["key"]).get("/v1/me")["language"] == "fr"
    assert [k.get("language") for k in office.admin.get("/v1/keys")["items"] if k["name"] in ("ann", "yann")] == [
        None,
        "fr",
    ]
    [change] = [c for c in office.admin.get("/v1/changes")["items"] if c["of"] == "key" and c["name"] == "yann"]
    assert change["after"]["language"] == "fr"


def test_a_language_must_be_known(office):
    answer = office.admin.send(
        "POST", "/v1/keys", {"name": "xia", "holder": "xia", "role": "auditor", "language": "xx"}
    )
    assert answer.status == 422 and answer.json["errors"][0]["pointer"] == "/language"


def test_caches_are_told(office):
    """RFC 9110 section 12.5.5: Vary names each field of the request that the answer depends on."""
    assert get(office.ann, "/").answer.headers["Vary"] == "Accept-Encoding, Accept-Language"
    assert office.admin.send("GET", "/").headers["Vary"] == "Accept-Encoding"


def test_machines_read_the_same_in_each_language(office):
    for target in ("/v1/reports", "/v1/settlements?scheme=tern-bay", "/v1/reports/stock?scheme=tern-bay&format=csv"):
        answers = [office.admin.send("GET", target, headers={"Accept-Language": each}) for each in ("en", "fr")]
        assert answers[0].body == answers[1].body and answers[0].headers["ETag"] == answers[1].headers["ETag"]
    problem = office.admin.send("GET", "/v1/sites/nowhere", headers={"Accept-Language": "fr"}).json
    assert problem["title"] == "There is nothing here that the key may know of"


def test_problems_are_in_the_language(office):
    page = get(office.ann, "/v1/sites/nowhere")
    assert page.answer.status == 404 and page.title == "Il n’y a rien ici que la clé puisse connaître"
    page = get(office.ann, "/v1/events?scheme=tern-bay&business_date=soon")
    assert page.answer.status == 422 and "doit être une date, comme 2026-05-12" in page.source
    page = get(Browser(office.service), "/v1/events")
    assert page.answer.status == 401 and page.title == "Se connecter"


def test_dates_and_figures(office):
    page = get(
        office.person("anchor-counter", office.service.create_key("anchor-counter", "pos", sites=["anchor"])),
        "/counter",
    )
    assert english(page) == set() and "Journée comptable" in page.source
