# SPDX-License-Identifier: ISC
"""A person can reach by clicking, from the start page, all that the key may do by request. A crawl for each role is
compared with the table of permissions."""
import re
from collections import Counter
from datetime import datetime, timedelta, timezone
from urllib.parse import parse_qsl, urlsplit

import pytest

from between import agree
from browser import Browser
from harness import wait_until
from network import business_day, event, utc
from pages import Page
from test_morning import FIRST, Morning
from test_roles import CUP, PERMITTED, ROLES

# Operations that a person need not reach, and why.
FOR_MACHINES = {
    "GET /style.css": "each page uses it",
    "GET /healthz": "for what watches the process",
    "GET /readyz": "for what watches the process",
    "GET /metrics": "for what watches the process",
    "GET /openapi.json": "for developers of clients",
    "GET /problems/{}": "the page of each problem leads there: test_problems.py",
    "GET /v1/reference": "all lists in one document, for programs; each list has a page",
    "GET /v1/feed": "many schemes in one, for programs; the events of each scheme have a page",
    "POST /v1/reference": "all lists in one document, for programs; each thing has a form",
    "POST /v1/plans": "for programs that know costs of their own; the page of a plan has a form for the rest",
    "GET /v1/sites/{}/day-totals/{}": "the form to enter them leads there",
    "GET /v1/fee-notes/{}/{}": "the list leads there once a month has ended: test_fee_notes.py",
    "GET /v1/remaking-batches/{}/{}": "the list leads there once there is a batch: test_reports_remaking.py",
    "POST /v1/remaking-batches/{}/{}/withdraw": "offered for a batch: test_reports_remaking.py",
    "POST /v1/schemes/{}/months/{}/close": "offered once the month has ended: test_months.py",
    "POST /v1/schemes/{}/months/{}/reopen": "offered for a closed month: test_months.py",
    "GET /v1/tasks/{}": "for readers of more than 20 schemes; the start page has all tasks of the others",
}
LEAD_TO_ONE_MORE = 4  # pages of a kind that are read, of those that a page of another kind leads to …
MOST = 12  # … and of those that any page leads to


@pytest.fixture(scope="module")
def morning(shared):
    """A morning with a thing of each task, and whatever else can have a page."""
    made, later = Morning(shared), str(business_day() + timedelta(days=3))
    made.admin.load(
        {
            "tax_registrations": [{"participant": "hearth", "effective_date": later, "tax_registered": True}],
            "site_kinds": [{"site": "anchor", "effective_date": later, "kind": "cafe"}],
        }
    )
    made.admin.put(f"/v1/schemes/tern-bay/office-accounts/{FIRST}", {"accounts": []})
    made.admin.put(
        f"/v1/sites/anchor/day-totals/{FIRST}", {"issued": 2, "returned": 0, "collected": "5.00", "refunded": "0.00"}
    )
    made.do(made.ann, f"/v1/settlements/tern-bay/{FIRST + timedelta(days=1)}/files", {"type": "payouts"})
    agree(made.service, later, {"cup-300": 240}, "tern-bay", "skerry", rate="0.0105")
    named = [{"cup_type": "cup-300", "quantity": 1, "ids": [CUP]}]
    made.admin.post(event("supply", "anchor", utc(datetime.now(timezone.utc)), cups=named))
    wait_until(lambda: made.admin.send("GET", f"/v1/cups/{CUP}").status == 200)
    return made


def person(morning, role):
    if role == "admin":
        name, key = "first-admin", morning.service.admin_key
    else:
        bound = {"pos": {"sites": ["anchor", "brick"]}, "participant": {"participant": "hearth"}}.get(role, {})
        name, key = f"the-{role}", morning.service.create_key(f"the-{role}", role, **bound)
    browsers = [Browser(morning.service) for _ in range(2)]  # so that one can end the session of the other
    assert [b.sign_in(name, key).status for b in browsers] == [303, 303]
    return browsers[0]


def operation_of(contract, method, path):
    for pattern, template, item in contract.routes:
        if pattern.match(path) and method.lower() in item:
            return f"{method} {re.sub(r'{[^}]*}', '{}', template)}"
    return None


def kind_of(contract, target):
    """Pages of a kind are made alike: the operation, the report, and the parameters that are given."""
    parts = urlsplit(target)
    operation = operation_of(contract, "GET", parts.path) or "/".join(parts.path.split("/")[:3])
    report = parts.path if parts.path.startswith("/v1/reports/") else ""
    chosen = [
        (name, value if name in ("status", "state", "held", "open", "kind") else "")
        for name, value in parse_qsl(parts.query)
        if name not in ("target", "back", "fill", "cursor")
    ]
    return operation, report, tuple(sorted(chosen))


def crawl(morning, browser):
    """Reads some pages of each kind that links lead to. Returns the operations that were reached, with a page of
    each."""
    contract = morning.service.contract
    forms = {
        item[method]["operationId"]: f"{method.upper()} {re.sub(r'{[^}]*}', '{}', path)}"
        for path, item in contract.document["paths"].items()
        for method in item
    }
    reached, waiting, read, seen = {}, [("/", None)], Counter(), set()
    while waiting:
        target, origin = waiting.pop(0)
        kind = kind_of(contract, target)
        if target in seen or read[kind, origin] >= LEAD_TO_ONE_MORE or read[kind] >= MOST:
            continue
        seen.add(target)
        read[kind, origin] += 1
        read[kind] += 1
        answer = browser.send("GET", target)
        assert answer.status == 200, (target, answer.status, answer.text[:300])
        if target.startswith("/forms/"):
            operation = forms[target.split("?")[0].split("/")[2]]
        else:
            operation = operation_of(contract, "GET", target.split("?")[0])
        reached.setdefault(operation, target)
        if answer.headers["Content-Type"].startswith("text/html"):
            page = Page(answer.text.encode())
            waiting += [(link, kind) for link in page.links]
    return reached


def test_every_exception_is_an_operation():
    assert FOR_MACHINES.keys() <= PERMITTED.keys()
    assert not [o for o in FOR_MACHINES if o.split()[0] in ("PUT", "DELETE")]


@pytest.mark.parametrize("role", ROLES)
def test_everything_that_a_role_may_do_is_reached_by_clicking(morning, role):
    reached = crawl(morning, person(morning, role))
    permitted = {operation for operation, roles in PERMITTED.items() if role in roles}
    permitted.add("GET /v1/reports/{}")  # each role has reports of its own
    missing = sorted(permitted - reached.keys() - FOR_MACHINES.keys())
    assert not missing, " and ".join(missing)
    assert {o for o in reached if o is not None} <= permitted, "nothing else is offered"
