# SPDX-License-Identifier: ISC
"""Pages in other languages. Every fixed word of a page that a browser asks for in French is French: a word without a
translation is marked as English (WCAG 2.2, success criterion 3.1.2), and no such mark is found on any kind of page."""
import pytest

from browser import Browser, Form
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


# A key's language, changed later --------------------------------------------------------------------------------
@pytest.fixture
def zoe(office):
    """A key without a language, and its browser."""
    secret = office.service.create_key("zoe", "auditor")
    yield office.service.client(secret), office.person("zoe", secret)
    office.admin.send("DELETE", "/v1/keys/zoe")


def key_changes(office, name):
    """The changes of the newest key of that name, without its making and its end."""
    found = [c for c in office.admin.items("/v1/changes", of="key") if c["name"] == name and "before" in c]
    return [(c["by"]["key"], c["before"].get("language"), c["after"].get("language"), c.get("why")) for c in found]


def test_a_key_changes_its_own_language(office, zoe):
    """At once, in the session that is open as well. The change is recorded as any other of a key."""
    client, browser = zoe
    assert language(get(browser, "/", "en")) == "en"
    assert client.send("POST", "/v1/me/language?dry_run=true", {"language": "fr"}).json["language"] == "fr"
    assert "language" not in client.get("/v1/me"), "a dry run changes nothing"
    made = client.send("POST", "/v1/me/language?why=as+at+home", {"language": "fr"})
    assert made.status == 200 and (made.json["name"], made.json["language"]) == ("zoe", "fr")
    assert client.get("/v1/me")["language"] == "fr" and language(get(browser, "/", "en")) == "fr"
    assert client.send("POST", "/v1/me/language", {}).json.get("language") is None
    assert language(get(browser, "/", "en")) == "en"
    assert key_changes(office, "zoe")[-2:] == [("zoe", None, "fr", "as at home"), ("zoe", "fr", None, None)]


def test_an_admin_changes_the_language_of_a_key(office, zoe):
    client, browser = zoe
    made = office.admin.send("POST", "/v1/keys/zoe/language", {"language": "fr"})
    assert made.status == 200 and client.get("/v1/me")["language"] == "fr" and language(get(browser, "/")) == "fr"
    assert key_changes(office, "zoe")[-1] == ("first-admin", None, "fr", None)
    assert client.send("POST", "/v1/keys/zoe/language", {}).status == 403
    assert office.admin.send("POST", "/v1/keys/nobody/language", {}).status == 404
    unknown = office.admin.send("POST", "/v1/keys/zoe/language", {"language": "xx"})
    assert unknown.status == 422 and unknown.json["errors"][0]["pointer"] == "/language"
    office.admin.send("DELETE", "/v1/keys/zoe")
    assert office.admin.send("POST", "/v1/keys/zoe/language", {}).status == 404, "it is revoked"


def test_a_person_changes_the_language_in_a_form(office, zoe):
    """From the page of the own key, and from the list of keys. The form begins with the language that holds."""
    for browser, start, lands in ((zoe[1], "/v1/me", "fr"), (office.boss, "/v1/keys", "en")):
        [href] = [h for h in get(browser, start, "en").links if "Language?" in h and ("zoe" in h or start == "/v1/me")]
        form = Form(browser, get(browser, href, "en"), "/forms/")
        form.fill({"/language": "fr"}).send()
        page = get(browser, start, "en")
        assert language(page) == lands
        again = Form(
            browser,
            get(browser, [h for h in page.links if "Language?" in h and "zoe" in h or "setMy" in h][0]),
            "/forms/",
        )
        assert again.fields["/language"] == "fr"
        answer = again.fill({"/language": ""}).send()
        assert answer.status == 303 and answer.headers["Location"].startswith(start)
        assert "language" not in zoe[0].get("/v1/me")


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
