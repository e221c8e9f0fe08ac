# SPDX-License-Identifier: ISC
"""A week in the office at a real browser (week.py has the week). Each person signs in, does what the morning asks for
by links, forms and files, and signs out. Afterwards the books are those of the same week that keys did by requests."""
import re

import pytest

from chromium import DESK, Chromium
from clocks import MovedClock
from harness import Database
from week import DAY, FIRST, MONTH, SCHEME, ByHttp, Week, books


class ByBrowser:
    """Does the week's steps as a person at a browser. `papers`: the printed pages, by the name of what was printed."""

    def __init__(self, week, chromium, folder):
        self.week, self.chromium, self.folder, self.papers = week, chromium, folder, {}

    def of(self, name):
        self.chromium.sign_in(self.week.service, name, self.week.secrets[name])
        return self

    def __enter__(self):
        return self

    def __exit__(self, failed, *_):
        if failed is None:
            self.chromium.sign_out()

    def open(self, target):
        self.chromium.driver.get(f"http://127.0.0.1:{self.week.service.port}{target}")

    def task(self, words):
        """From the start page to the list of a task."""
        self.open("/")
        self.chromium.follow(words)

    def send(self, **values):
        """Fills in the form and sends it. It leads to a page of what was done."""
        page = self.chromium
        page.fill_in({f"/{name}": value for name, value in values.items()})
        page.press(page.one('form[action^="/forms/"] .buttons button:not([name])'))
        assert not page.path.startswith("/forms/"), page.one("main").text

    def act(self, words, within=None, **values):
        """Follows the link to a form, and sends the form."""
        self.chromium.follow(words, within)
        self.send(**values)

    # --- the counter -----------------------------------------------------------------------------------------------
    def serve(self, taps):
        page = self.chromium
        for act, cup_type, quantity, amount in taps:
            if quantity == 1 and amount is None:
                page.press(page.one(f'form.tap:has([value="{cup_type}"]):has([name="act"][value="{act}"]) button'))
            else:
                more = page.one(f'details:has([value="{cup_type}"])')
                page.one("summary", more).click()
                for name, value in (("quantity", quantity), ("amount", amount or "")):
                    field = page.one(f'[name="{name}"]', more)
                    field.clear()
                    field.send_keys(str(value))
                page.press(page.one(f'button[value="{act}"]', more))
            assert "recorded=" in page.path, page.one("main").text

    def undo_last(self):
        self.chromium.press(self.chromium.one(".told form button"))

    # --- days and payments -----------------------------------------------------------------------------------------
    def close(self, n):
        page, day = self.chromium, str(FIRST + n * DAY)
        self.open(f"/v1/schemes/{SCHEME}/days?missing=close")
        if not page.all("tbody tr"):  # its time has not passed yet
            self.open(f"/v1/schemes/{SCHEME}/days")
        page.follow("Close", page.row(day))
        page.press(page.one('[name="try"]'))
        assert "Nothing was recorded yet" in page.one(".tried").text
        self.send()

    def settlement(self, n):
        self.open(f"/v1/settlements/{SCHEME}/{FIRST + n * DAY}")
        return self.chromium

    def approve_day(self, n):
        self.settlement(n).follow("Approve payments")
        self.send()

    def payment(self, n, party):
        page = self.settlement(n)
        row = page.row(party, within=page.one('[aria-label="Payments"]'))
        page.press(page.one('a[href^="/v1/payments/"]', row))

    def release(self, n, party):
        self.payment(n, party)
        self.act("Release")

    def fail(self, n, party, reason):
        self.payment(n, party)
        self.act("Fail", reason=reason)

    def confirm(self, n, party):
        self.payment(n, party)
        self.act("Confirm")

    def make_file(self, n, type):
        page = self.settlement(n)
        self.act("Make a file for the bank", type=type)
        return page.download(page.all('a[href^="/v1/files/"]', page.row(type))[0])

    # --- the bank --------------------------------------------------------------------------------------------------
    def upload(self, data):
        file = self.folder / "statement.xml"
        file.write_bytes(data)
        self.open(f"/v1/bank-statements?scheme={SCHEME}")
        self.chromium.follow("Upload a statement")
        self.chromium.one('[type="file"]').send_keys(str(file))
        self.send()

    def line(self, amount):
        page = self.chromium
        self.task("Bank lines to resolve")
        page.press(page.one('a[href^="/v1/bank-lines/"]', page.row(str(amount).replace("-", "\N{MINUS SIGN}"))))

    def resolve_as_payment(self, amount, note):
        self.line(amount)
        self.act("Resolve as this payment", note=note)

    def resolve_to_participant(self, amount, participant, note):
        self.line(amount)
        self.act("Resolve", participant=participant, note=note)

    def resolve_to_account(self, amount, account, note):
        self.line(amount)
        self.act("Resolve", account=account, note=note)

    # --- two people ------------------------------------------------------------------------------------------------
    def change_account(self, participant, account):
        self.open(f"/v1/participants/{participant}")
        self.act("Change", **{"bank_account/account": account})

    def approve_proposal(self):
        self.task("Changes to approve")
        self.act("Approve")

    def close_month(self):
        self.open(f"/v1/schemes/{SCHEME}/months")
        self.chromium.follow("Close for journals", self.chromium.row(MONTH))
        self.send()

    def propose_journal(self, legs, when, reason):
        self.open(f"/v1/journals?scheme={SCHEME}")
        fields = {f"legs/{n}/{name}": value for n, leg in enumerate(legs) for name, value in leg.items()}
        self.act("New journal", occurred_at=when[:16], reason=reason, **fields)

    def journal(self, what, reason):
        page = self.chromium
        self.task("Journals to approve")
        [row] = [r for r in page.all("tbody tr") if reason in r.text]
        page.follow(what, row)

    def approve_journal(self, reason):
        self.journal("Approve", reason)
        self.send()

    def withdraw_journal(self, reason, why):
        self.journal("Withdraw", reason)
        self.send(reason=why)

    # --- exceptions ------------------------------------------------------------------------------------------------
    def resolve_exceptions(self, kinds, note):
        page = self.chromium
        self.task("Exceptions to look at")
        page.follow("Resolve several")
        for row in page.all("tbody tr"):
            if {c.text for c in page.all("td", row)} & {kind.replace("_", " ") for kind in kinds}:
                page.one('[type="checkbox"]', row).click()
        self.send(note=note)

    def resolve_exception(self, kind, note):
        page = self.chromium
        self.task("Exceptions to look at")
        page.press(page.one('a[href^="/v1/exceptions/"]', page.row(kind)))
        self.act("Resolve", note=note)

    # --- reading ---------------------------------------------------------------------------------------------------
    def print(self, name, target):
        self.open(target)
        heads, cells = (self.chromium.run(TEXTS, part) for part in ("thead th", "tbody th, tbody td"))
        self.papers[name] = heads, cells, self.chromium.print(self.folder / "printed.pdf")

    def read_month(self):
        self.print("Trial balance", f"/v1/reports/trial-balance?scheme={SCHEME}&from={FIRST}&as_of={FIRST + DAY}")
        self.print("Lines of bank statements", f"/v1/bank-lines?scheme={SCHEME}")

    def read_own(self):
        days = f"from={FIRST}&to={FIRST + 4 * DAY}"
        self.print("Participant statement", f"/v1/reports/participant-statement?scheme={SCHEME}&{days}")

    def read_books(self):
        self.print("The books' invariants", f"/v1/checks?scheme={SCHEME}")
        self.print("Journal", f"/v1/reports/journal?scheme={SCHEME}&from={FIRST}&to={FIRST + 4 * DAY}")


TEXTS = "return [...document.querySelectorAll(arguments[0])].map(cell => cell.innerText.trim());"


@pytest.fixture(scope="module")
def chromium(tmp_path_factory):
    browser = Chromium(tmp_path_factory.mktemp("chromium"))
    browser.look(DESK)
    yield browser
    browser.quit()


@pytest.fixture(scope="module")
def weeks(module_database, chromium, tmp_path_factory):
    """The books of the week by requests and of the week at the browser, and the papers that were printed."""
    other, clock = Database(), MovedClock(tmp_path_factory.mktemp("clock"))
    try:
        week = Week(other, clock)
        try:
            by_http = books(week.live(ByHttp(week)))
        finally:
            week.stop()
    finally:
        other.drop()
    week = Week(module_database, clock)
    try:
        hands = ByBrowser(week, chromium, tmp_path_factory.mktemp("papers"))
        by_browser = books(week.live(hands))
        yield by_http, by_browser, hands.papers
    finally:
        week.stop()


def test_the_books_are_the_same(weeks):
    by_http, by_browser, _ = weeks
    for target in by_http:
        assert by_browser[target].splitlines() == by_http[target].splitlines(), target


def squeezed(text):
    return re.sub(r"\s", "", text)


@pytest.mark.parametrize("name", ["Trial balance", "Participant statement", "The books' invariants", "Journal"])
def test_what_is_printed_is_what_the_page_shows(weeks, name):
    """Each figure is on paper. Each sheet says which of how many it is, and has the heads of the table that goes on."""
    heads, cells, pages = weeks[2][name]
    assert name in pages[0]
    printed = squeezed("".join(pages))
    figures = [c for c in cells if re.fullmatch(r"[-\d\s.,\u2212()]*\d[-\d\s.,\u2212()]*", c)]
    assert len(figures) > 5 and [f for f in figures if squeezed(f) not in printed] == []
    words = {word for head in heads for word in head.split()}
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page
        if re.search(r"^ *\d+ +\d{4}-\d\d-\d\d ", page, re.M):
            assert words <= set(page.split()), (number, words - set(page.split()))
    assert name != "Journal" or len(pages) > 1


def test_paper_has_nothing_to_click(weeks):
    """The column of actions is on the page and not on paper."""
    heads, cells, pages = weeks[2]["Lines of bank statements"]
    assert "Action" in heads and len(cells) > len(heads)
    assert "Amount" in "".join(pages) and not [page for page in pages if "Action" in page]
