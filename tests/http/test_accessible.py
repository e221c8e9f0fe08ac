# SPDX-License-Identifier: ISC
"""Every kind of page against WCAG 2.2, levels A and AA: on a phone and at a desk, in light and in dark colours. The
rules are those of axe-core (an npm package of tests/client), which the driver puts into each page: the page's own
policy would not let it in, and stays as it is. The pages are those of an office at the end of its week."""
from urllib.parse import parse_qs, urlsplit

import pytest

from browser import Browser as Person
from chromium import DESK, PHONE, Chromium
from clocks import MovedClock
from pages import Page
from test_clients import INSTALLED
from week import DAY, FIRST, SCHEME, ByHttp, Week, leave_open

AXE = INSTALLED / "node_modules" / "axe-core" / "axe.min.js"
STANDARD = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]
# Some rules depend on the size and the colours of a window. The others read the document, which is the same in all.
LOOKS = {
    (PHONE, False): None,
    (PHONE, True): ["color-contrast"],
    (DESK, False): ["color-contrast", "target-size", "scrollable-region-focusable"],
    (DESK, True): ["color-contrast"],
}
AUDIT = """
const [tags, rules, done] = arguments;
const only = rules === null ? {type: "tag", values: tags} : {type: "rule", values: rules};
axe.run(document, {runOnly: only, resultTypes: ["violations"], preload: false}).then(
  found => done(found.violations.map(rule => [rule.id, rule.tags.filter(tag => /^wcag\\d{3,}/.test(tag)).join(" "),
                                  rule.nodes.map(node => node.html.slice(0, 300) + " " + node.failureSummary)])),
  error => done([["axe", "", [String(error)]]]));
"""


def kind_of(target):
    """Pages of the same kind are made alike: of a route, of a report, of an operation's form, of a kind of event."""
    parts = urlsplit(target)
    query = parse_qs(parts.query)
    steps = parts.path.split("/")
    if steps[1] == "forms":
        filled = parse_qs(query.get("fill", [""])[0])
        return steps[2], *query.get("kind", filled.get("kind", []))
    if steps[1:3] == ["v1", "reports"]:
        return parts.path
    named = ("terms", "refund-values", "office-accounts", "tax-registration", "kind", "days", "proof", "files")
    return "/".join(step if place < 3 or step in named else "{}" for place, step in enumerate(steps))


def crawl(person, start="/"):
    """A page of each kind that links lead to."""
    found, waiting = {}, [start]
    while waiting:
        target = waiting.pop(0)
        if kind_of(target) in found:
            continue
        answer = person.send("GET", target)
        if not (answer.headers["Content-Type"] or "").startswith("text/html"):
            continue
        assert answer.status == 200 or "/v1/events/" in target, (target, answer.status)
        found[kind_of(target)] = target
        waiting += Page(answer.text.encode()).links
    return found


@pytest.fixture(scope="module")
def week(module_database, tmp_path_factory):
    week = Week(module_database, MovedClock(tmp_path_factory.mktemp("clock")))
    try:
        hands = ByHttp(week)
        week.live(hands)
        leave_open(week, hands)
        yield week
    finally:
        week.stop()


@pytest.fixture(scope="module")
def chromium(tmp_path_factory):
    browser = Chromium(tmp_path_factory.mktemp("chromium"))
    browser.axe = AXE.read_text() if AXE.exists() else None
    yield browser
    browser.quit()


def audit(chromium):
    """The faults of the page that is open, in each look."""
    wrong = []
    for (size, dark), rules in LOOKS.items():
        chromium.look(size, dark)
        widths = chromium.run("return [document.documentElement.scrollWidth, innerWidth]")
        if widths[0] > widths[1]:  # WCAG 2.2, 1.4.10: wide tables scroll in boxes of their own
            wrong.append((size, "wider than its window", widths))
        if chromium.axe:
            if not chromium.run("return !!window.axe"):
                chromium.run(chromium.axe)
            found = chromium.driver.execute_async_script(AUDIT, STANDARD, rules)
            wrong += [(size, "dark" if dark else "light", *rule) for rule in found]
    return wrong


@pytest.fixture(scope="module")
def seen():
    """The kinds of pages that have been looked at with the key of another role."""
    return set()


def forms_without_links(week, person):
    """Forms for operations that no page of the week leads to."""
    for path in week.service.contract.document["paths"].values():
        for method, operation in path.items():
            target = f"/forms/{operation['operationId']}"
            if method in ("post", "put", "delete") and person.send("GET", target).status == 200:
                yield kind_of(target), target


@pytest.mark.parametrize("name", ["first-admin", "ann", "otto", "hearth-office", "anchor-till"])
def test_pages_of_a_role(week, chromium, seen, name):
    """The start page, and each kind of page that links lead to from there."""
    person = Person(week.service)
    assert person.sign_in(name, week.secrets[name]).status == 303
    targets = dict(forms_without_links(week, person)) | crawl(person)
    chromium.sign_in(week.service, name, week.secrets[name])
    wrong = {}
    for kind, target in targets.items():
        if kind not in seen or target in ("/", "/counter"):
            chromium.driver.get(f"http://127.0.0.1:{week.service.port}{target}")
            wrong.update({target: found for found in [audit(chromium)] if found})
            seen.add(kind)
    chromium.driver.delete_all_cookies()
    assert wrong == {}


# --- pages that no link leads to --------------------------------------------------------------------------------------
class Desk:
    """A person at the browser makes mistakes."""

    def __init__(self, week, chromium):
        self.week, self.chromium = week, chromium

    def open(self, target):
        self.chromium.driver.get(f"http://127.0.0.1:{self.week.service.port}{target}")

    def sign_in(self, name="first-admin", target="/"):
        self.chromium.driver.delete_all_cookies()
        self.chromium.sign_in(self.week.service, name, self.week.secrets[name], target)

    def send(self, target, button=".buttons button:not([name])", **values):
        """Sends a form as it is filled in, also where the browser would have asked for more."""
        self.open(target)
        self.chromium.fill_in({f"/{name}": value for name, value in values.items()})
        self.chromium.run("document.querySelectorAll('form').forEach(form => form.noValidate = true)")
        self.chromium.press(self.chromium.one(button))

    def says(self, words):
        assert words in self.chromium.one("main").text, self.chromium.one("main").text


def problem_pages(desk, _):
    desk.sign_in()
    for target, words in (
        ("/v1/no/such/page", "404"),
        (f"/v1/reports/stock?scheme={SCHEME}&colour=1&size=2", "422"),
        ("/v1/settlements/tern-bay/2001-01-01", "404"),
    ):
        desk.open(target)
        desk.says(words)
        yield target
    desk.sign_in("hearth-office")
    desk.open(f"/v1/accounts?scheme={SCHEME}")
    desk.says("403")
    yield "forbidden"


def signing_in(desk, _):
    desk.chromium.driver.delete_all_cookies()
    desk.open("/sign-in")
    yield "sign in"
    desk.chromium.fill(name="ann", key="dk_wrong")
    desk.chromium.follow("Sign in")
    yield "a wrong key"


def forms_that_come_back(desk, folder):
    desk.sign_in()
    desk.send("/forms/putParticipant?target=/v1/participants/quay", name="", bic="SHORT")
    desk.says("Nothing was recorded")
    yield "a participant with faults"
    journal = {"legs/0/account": "nowhere", "legs/0/amount": "x", "legs/1/amount": "1.00"}
    desk.send(f"/forms/postEvents?target=/v1/events&fill=kind%3Djournal%26/scheme%3D{SCHEME}", **journal)
    desk.says("Nothing was recorded")
    yield "a journal with faults"
    desk.send(f"/forms/closeDay?target=/v1/schemes/{SCHEME}/days/{FIRST + 3 * DAY}/close", button='[name="try"]')
    yield "a try"
    approve = f"/forms/approveSettlement?target=/v1/settlements/{SCHEME}/{FIRST + 3 * DAY}/approve"
    desk.send(approve)
    yield "nothing to approve"
    file = folder / "no-statement.xml"
    file.write_text("<Document/>")
    desk.open(f"/forms/postBankStatement?target=/v1/bank-statements&fill=?scheme%3D{SCHEME}")
    desk.chromium.one('[type="file"]').send_keys(str(file))
    desk.chromium.press(desk.chromium.one(".buttons button:not([name])"))
    desk.says("Nothing was recorded")
    yield "a file that is no statement"
    desk.send("/forms/createKey", name="dock-till", holder="the dock", role="pos", **{"sites/0": "dock"})
    desk.says("dk_")
    yield "a new key"


def at_the_counter(desk, _):
    page = desk.chromium
    desk.sign_in("anchor-till")
    page.press(page.all(".taps button")[0])
    yield "a tap"
    page.all("summary")[0].click()
    page.fill_in({})
    more = page.all("details[open]")[0]
    field = page.one('[name="quantity"]', more)
    page.run("arguments[0].closest('form').noValidate = true; arguments[0].value = '0'", field)
    page.press(page.all(".taps button", more)[0])
    desk.says("Nothing was recorded")
    yield "a number that is none"


@pytest.mark.parametrize("visit", [problem_pages, signing_in, forms_that_come_back, at_the_counter])
def test_pages_of_mistakes(week, chromium, tmp_path, visit):
    wrong = {what: found for what in visit(Desk(week, chromium), tmp_path) for found in [audit(chromium)] if found}
    chromium.driver.delete_all_cookies()
    assert wrong == {}


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not in build/client: tests/client/install says why")
def test_a_fault_is_found(week, chromium):
    """The rules do run, and in each look: here is a grey text without contrast, and a picture without a name."""
    Desk(week, chromium).open("/sign-in")
    chromium.run(
        "const text = document.createElement('p'); text.textContent = 'pale'; text.style.color = 'gray';"
        "text.style.backgroundColor = 'darkgray'; document.querySelector('main').append(text, new Image());"
    )
    found = [(size, look, rule) for size, look, rule, *_ in audit(chromium)]
    assert {(s, look) for s, look, rule in found if rule == "color-contrast"} == {
        (size, "dark" if dark else "light") for size, dark in LOOKS
    }
    assert (PHONE, "light", "image-alt") in found
