# SPDX-License-Identifier: ISC
"""People of the worked example at their browsers, and the pages and forms that they see."""
import network
from browser import Browser, Form
from network import WORKED_DAY
from pages import Page, tidy

PEOPLE = {"ann": "accountant", "ben": "accountant", "otto": "auditor"}
SETTLEMENT = f"/v1/settlements/tern-bay/{WORKED_DAY}"


class Office:
    """The worked example, closed by the clock, with two accountants at their browsers."""

    def __init__(self, service, reference=None):
        self.service, self.admin = service, service.admin
        self.admin.load(reference or network.worked_reference("on_loan"))
        for e in network.worked_events():
            self.admin.post(e)
        self.admin.close("tern-bay", WORKED_DAY)
        self.keys = {name: service.create_key(name, role) for name, role in PEOPLE.items()}
        self.boss = self.person("first-admin", service.admin_key)
        self.ann, self.ben, self.reader = (self.person(name, key) for name, key in self.keys.items())

    def person(self, name, key):
        browser = Browser(self.service)
        assert browser.sign_in(name, key).status == 303
        return browser


def banked_office(service):
    """The same of parties that have bank accounts."""
    document = network.worked_reference("on_loan", netting="central")
    party = {"bank_account": {"account": "00001001", "bank_code": "TB-001"}}
    document["schemes"][0]["operator"] = {
        "name": "Tern Bay Cup Pool",
        "bank_account": {"account": "00001000", "bank_code": "TB-000"},
    }
    document["participants"] = [{**p, **party} for p in document["participants"]]
    return Office(service, document)


def page(browser, target, status=200):
    answer = browser.send("GET", target)
    assert answer.status == status, (target, answer.status, answer.text[:1000])
    assert tidy(answer.text.encode()) == "", target
    return Page(answer.text.encode())


def shown(answer, status):
    assert answer.status == status, (answer.status, answer.headers["Location"], answer.text[:3000])
    assert tidy(answer.text.encode()) == ""
    return Page(answer.text.encode())


def forms_of(page):
    return [href for href in page.links if href.startswith("/forms/")]


def form(browser, target):
    """The form at a target, or behind a link of a page."""
    return Form(browser, page(browser, target), "/forms/")


def led_to(answer):
    assert answer.status == 303, (answer.status, answer.text[:3000])
    return answer.headers["Location"]
