# SPDX-License-Identifier: ISC
"""The type of a problem (RFC 9457 section 3.1.1) leads to what its reason means, and the page of a problem to what a
person may do next."""
import pytest

from browser import Browser
from contract import METHODS
from network import WORKED_DAY
from office import Office
from pages import Page, tidy
from test_words import english

PAGE = {"Accept": "text/html"}


@pytest.fixture(scope="module")
def office(shared):
    return Office(shared)


@pytest.fixture(scope="module")
def document(office):
    return office.admin.get("/openapi.json")


def get(browser, target, status=200, **headers):
    answer = browser.send("GET", target, **headers)
    assert answer.status == status, (target, answer.status, answer.text[:1000])
    page = Page(answer.text.encode())
    page.answer = answer
    return page


def ways(page):
    """The links at the end of a page of a problem, {words: target}."""
    [listed] = [e for e in page.all("ul") if e.has_class("see")]
    return {a.said: a.get("href") for a in listed.all("a")}


# The meaning of a reason ----------------------------------------------------------------------------------------------
def test_each_reason_is_told_to_anybody(office, document):
    """A reason's operations are those whose answers list it in the document."""
    nobody, answered = office.service.client(), {}
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if method in METHODS:
                for reasons in office.service.contract.reasons_of(operation).values():
                    for reason in reasons:
                        answered.setdefault(reason, set()).add((operation["operationId"], method.upper(), path))
    assert answered.keys() == set(document["components"]["schemas"]["Reason"]["enum"])
    for reason, operations in answered.items():
        told = nobody.send("GET", f"/problems/{reason}").json
        assert told["reason"] == reason and told["title"] and told["advice"]
        assert {(o["operation"], o["method"], o["path"]) for o in told["operations"]} == operations, reason


def test_a_type_leads_to_its_reason(office):
    problem = office.admin.send("GET", "/v1/sites/nowhere").json
    told = office.service.client().send("GET", problem["type"]).json
    assert {name: told[name] for name in ("reason", "title", "status", "retryable")} == {
        name: problem[name] for name in ("reason", "title", "status", "retryable")
    }


@pytest.mark.parametrize("language", ["en", "fr"])
def test_each_reason_has_a_page(office, document, language):
    nobody, titles = Browser(office.service), set()
    for reason in document["components"]["schemas"]["Reason"]["enum"]:
        page = get(nobody, f"/problems/{reason}", Accept_Language=language)
        assert not tidy(page.source.encode()) and (language == "en" or english(page) == set()), reason
        assert page.root.first("html").get("lang") == language
        assert reason in page.facts.values() and ways(page).popitem()[1] == "/"
        titles.add(page.title)
    assert len(titles) == len(document["components"]["schemas"]["Reason"]["enum"])


def test_a_page_says_whether_a_retry_helps_and_who_answers_so(office):
    nobody = Browser(office.service)
    page = get(nobody, "/problems/day_not_sealed")
    assert page.title == "The entry's business day is not closed yet: it has no seal"
    assert page.facts == {
        "What to do": "Look at the thing as it is now, and decide then.",
        "A retry helps": "Yes: the same request may succeed later.",
        "Reason": "day_not_sealed",
        "Status": "409",
    }
    assert page.table("Operations that can answer with it") == [
        {"Operation": "getEventProof", "Method": "GET", "Path": "/v1/events/{event_id}/proof"},
        {"Operation": "getEntryProof", "Method": "GET", "Path": "/v1/entries/{entry}/proof"},
    ]
    page = get(nobody, "/problems/overloaded")
    assert page.all("table") == [] and "Any operation can answer with it." in page.source
    assert get(nobody, "/problems/month_closed").facts["A retry helps"].startswith("No")


@pytest.mark.parametrize("reason", ["no_such_reason", "NOT_FOUND", "none", "%00", "a%2fb"])
def test_an_unknown_reason_is_not_found(office, reason):
    assert office.service.client().send("GET", f"/problems/{reason}").status == 404
    assert get(Browser(office.service), f"/problems/{reason}", 404).facts["Reason"] == "not_found"


def test_caches_may_keep_a_reason(office):
    """RFC 9111 section 5.2.2.9; RFC 9110 section 12.5.5: the answer depends on these fields of the request."""
    client = office.service.client()
    for headers in ({}, PAGE):
        answer = client.send("GET", "/problems/not_found", headers=headers)
        assert answer.headers["Cache-Control"] == "public, max-age=300"
        vary = {name.strip() for field in answer.headers.get_all("Vary") for name in field.split(",")}
        assert vary == {"Accept", "Accept-Encoding"} | ({"Accept-Language"} if headers else set())
    assert client.send("GET", "/problems/nothing").headers["Cache-Control"] != "public, max-age=300"
    with_key = office.reader.send("GET", "/problems/not_found")
    assert "otto" not in with_key.text and "/sign-out" not in with_key.text


# Ways on --------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "target, status, wanted",
    [
        ("/v1/payments/nothing", 404, {"Payments": "/v1/payments?scheme=tern-bay"}),
        ("/v1/settlements/tern-bay/2001-01-01", 404, {"Settlements": "/v1/settlements?scheme=tern-bay"}),
        ("/v1/events?scheme=tern-bay&business_date=soon", 422, {"Events": "/v1/events?scheme=tern-bay"}),
        ("/v1/events?scheme=nowhere", 404, {"Events": "/v1/events?scheme=tern-bay"}),
        ("/v1/events?scheme=&colour=1", 422, {"Events": "/v1/events?scheme=tern-bay"}),
        ("/v1/events?%zz=1&scheme=tern-bay", 422, {"Events": "/v1/events?scheme=tern-bay"}),
        ("/v1/events?scheme=%ff", 422, {"Events": "/v1/events?scheme=tern-bay"}),
        ("/v1/schemes/tern-bay/months/2001-13", 404, {"Months": "/v1/schemes/tern-bay/months"}),
        ("/v1/reports/stock?scheme=tern-bay&colour=1", 422, {"Reports": "/v1/reports"}),
        ("/v1/schemes/nowhere/days", 404, {"Schemes": "/v1/schemes"}),
        ("/v1/exceptions/nothing", 404, {}),
    ],
)  # fmt: skip
def test_a_problem_leads_on(office, target, status, wanted):
    """Each way leads to a page that there is."""
    page = get(office.ann, target, status)
    assert not tidy(page.source.encode())
    reason = page.facts["Reason"]
    assert ways(page) == {**wanted, "Start page": "/", "About this problem": f"/problems/{reason}"}
    for way in {*ways(page).values(), *page.links}:
        get(office.ann, way)


def test_each_fault_leads_to_its_reason(office):
    page = get(office.ann, "/v1/reports/stock?scheme=tern-bay&colour=1&size=2", 422)
    assert page.links.count("/problems/parameter_unknown") == 1 and len(page.table("What is wrong")) == 2
    assert page.facts["What to do"] == "Correct what the answer names, then send it again."


def test_a_form_leads_back(office):
    """The page that it came from is known only from the form's own address, and is believed only if it is a page of
    this service."""
    back = f"/v1/settlements/tern-bay/{WORKED_DAY}"
    target = "/forms/approvePayment?target=/v1/payments/nothing"
    assert ways(get(office.ann, f"{target}&back={back}", 422)) == {
        "Back to the page before": back,
        "Payments": "/v1/payments?scheme=tern-bay",
        "Start page": "/",
        "About this problem": "/problems/parameter_invalid",
    }
    for elsewhere in ("https://example.com/", "//example.com/", "javascript:1", "/%5cexample.com", "/a%0ab"):
        assert "Back to the page before" not in ways(get(office.ann, f"{target}&back={elsewhere}", 422))


def test_a_role_that_may_not_can_sign_in_with_another_key(office):
    page = get(office.reader, "/v1/keys", 403)
    assert ways(page) == {
        "Start page": "/",
        "Sign in with another key": "/sign-in",
        "About this problem": "/problems/role_not_allowed",
    }
    assert get(office.reader, "/sign-in").title == "Sign in"


def test_a_stranger_has_ways_on(office):
    nobody = Browser(office.service)
    assert get(nobody, "/v1/keys", 401).title == "Sign in"
    page = get(nobody, "/no/such/page", 404)
    assert ways(page) == {"Start page": "/", "About this problem": "/problems/not_found"}
    assert get(nobody, "/problems/not_found").title == page.title


def test_ways_on_are_in_the_language(office):
    page = get(office.reader, "/v1/keys", 403, Accept_Language="fr")
    assert english(page) == set() and "Page d’accueil" in ways(page)
