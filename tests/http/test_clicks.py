# SPDX-License-Identifier: ISC
"""The tasks of the table in src/http/pages/README.md, each in no more clicks than it says. A link and a button count as
one click each. Typing does not count."""
import pathlib
import re
from datetime import datetime, timedelta, timezone
from decimal import Decimal

import pytest

import bank
from browser import Form
from network import WORKED_DAY, cups, event, utc
from office import banked_office, page, shown
from test_file_forms import upload

README = pathlib.Path(__file__).resolve().parents[2] / "src/http/pages/README.md"
ROW = re.compile(r"^\| ([a-z][^|]*?) +\| +[a-z]+ +\| +(\d+) +\|", re.MULTILINE)
ALLOWED = {task: int(clicks) for task, clicks in ROW.findall(README.read_text())}


class Person:
    """Somebody at a browser, who begins at the start page, and whose clicks are counted."""

    def __init__(self, browser):
        self.browser, self.clicks, self.at = browser, 0, page(browser, "/")

    def click(self, pattern):
        """Follows the first link whose target the pattern finds."""
        found = [href for href in self.at.links if re.search(pattern, href)]
        assert found, (pattern, self.at.links)
        self.clicks += 1
        self.at = page(self.browser, found[0])
        return self.at

    def send(self, file=None, **fields):
        """Fills in the form of the page and sends it."""
        form = Form(self.browser, self.at, "/forms/").fill({name.replace("__", "/"): v for name, v in fields.items()})
        answer = form.send() if file is None else upload(form, file)
        if answer.status != 303:
            shown(answer, 303)
        self.clicks += 1
        self.at = page(self.browser, answer.headers["Location"])
        return self.at

    def download(self, pattern):
        [href] = [href for href in self.at.links if re.search(pattern, href)][:1]
        self.clicks += 1
        answer = self.browser.send("GET", href)
        assert answer.status == 200
        return answer


@pytest.fixture
def office(service):
    return banked_office(service)


def why_we_owe_this(office):
    """From a payment to the events that it pays for."""
    ann = Person(office.ann)
    ann.click(r"^/v1/payments\?.*status=computed")
    ann.click(r"^/v1/settlements/tern-bay/")
    assert "56.01" in ann.at.root.text
    ann.click(r"^/v1/reports/participant-statement\?.*participant=miller")
    ann.click(r"^/v1/reports/site-figures\?.*site=brick&")
    assert ann.click(r"^/v1/events/").facts["Site"] == "brick"
    return ann


def approve_and_pay(office):
    ann = Person(office.ann)
    ann.click(r"^/v1/payments\?.*status=computed")
    ann.click(r"^/v1/settlements/tern-bay/")
    ann.click("^/forms/approveSettlement")
    ann.send()
    ann.click("^/forms/createPaymentFile")
    ann.send(__type="payouts")
    file = ann.download(r"^/v1/files/")
    assert "56.01" in file.text and file.headers["Content-Type"].startswith("application/xml")
    assert office.admin.items("/v1/payments", scheme="tern-bay", status="instructed") != []
    return ann


def prove_the_cover(office):
    reader = Person(office.reader)
    heads = {th.text for th in reader.click(r"^/v1/reports/deposit-cover\?").all("th")}
    assert {"Required", "Held", "Difference"} <= heads
    assert reader.click(r"^/v1/checks\?").facts["Verdict"] == "holds"
    return reader


def dispute_a_line(office):
    """A cafe follows a figure of its statement to the event, and to the proof that it is in the books."""
    key = office.service.create_key("miller-book", "participant", participant="miller")
    miller = Person(office.person("miller-book", key))
    miller.click(r"^/v1/settlements/tern-bay/")
    miller.click(r"^/v1/reports/site-statement\?.*site=brick")
    miller.click(r"^/v1/reports/site-figures\?.*site=brick&")
    miller.click(r"^/v1/events/[^/]+$|^/v1/events/[^/]+\?")
    assert "Leaf hash" in miller.click("/proof").facts
    return miller


def reconcile_the_bank(office):
    told = bank.statement(
        "S-1", "00001000", "CAD", str(WORKED_DAY + timedelta(days=2)), [bank.Booking(Decimal("-7.50"))]
    )
    ann = Person(office.ann)
    ann.click(r"^/v1/bank-statements\?")
    ann.click("^/forms/postBankStatement")
    ann.send(file=told)
    ann.click(r"^/v1/bank-lines\?")
    ann.click("^/forms/resolveBankLine")
    ann.send(__account="bank_charges", __note="fee of the bank")
    ann.click(r"^/v1/reports/bank-reconciliation\?")
    assert office.admin.items("/v1/bank-lines", scheme="tern-bay", open="true") == []
    return ann


def close_the_month(office):
    """One accountant proposes it, and another approves it."""
    month = f"{WORKED_DAY:%Y-%m}"
    for day in range(WORKED_DAY.day + 1, 32):
        office.admin.close("tern-bay", WORKED_DAY.replace(day=day))
    ann = Person(office.ann)
    ann.click(r"^/v1/schemes/tern-bay/months$")
    ann.click(f"^/forms/closeMonth.*{month}")
    ann.send()
    ben = Person(office.ben)
    ben.click(r"^/v1/proposals\?status=open")
    ben.click("^/forms/approveProposal")
    ben.send()
    assert office.admin.get(f"/v1/schemes/tern-bay/months/{month}")["state"] == "closed"
    ann.clicks += ben.clicks
    return ann


def find_the_cups(office):
    """The cups of a place, and the events that brought them there; and the cups that have not arrived."""
    office.admin.post(event("supply", "brick", utc(datetime.now(timezone.utc)), cups=cups(cup_300=1)))
    ann = Person(office.ann)
    assert {"Site", "Sound"} <= ann.click(r"^/v1/reports/stock\?").table()[0].keys()
    ann.click(r"site_stock%28brick|site_stock\(brick")
    ann.click(r"^/v1/entries/")
    ann.click(r"^/$")
    assert ann.click(r"^/v1/reports/transfers\?").table()
    return ann


TASKS = {
    "why do we owe this": why_we_owe_this,
    "approve and pay": approve_and_pay,
    "prove the cover": prove_the_cover,
    "dispute a line": dispute_a_line,
    "reconcile the bank": reconcile_the_bank,
    "close the month": close_the_month,
    "find the cups": find_the_cups,
}


def test_the_table_has_each_task():
    assert ALLOWED.keys() == TASKS.keys()


@pytest.mark.parametrize("task", TASKS)
def test_a_task_takes_no_more_clicks_than_the_table_says(office, task):
    assert TASKS[task](office).clicks <= ALLOWED[task]
