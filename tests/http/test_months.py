# SPDX-License-Identifier: ISC
"""Two people close a month for journals, and two people reopen it. A journal is dated by the business day in which it
occurred. It is common practice in bookkeeping that a closed period takes no further entries by hand."""
from datetime import date, timedelta
from decimal import Decimal

import psycopg2
import pytest

import network
from browser import Browser
from harness import at_once
from model import DAY
from network import at, cups, event
from office import form, forms_of, led_to, page
from pages import Page

THIS = date.today().replace(day=1)
LAST = THIS - DAY  # the last day of the month before
BEFORE = LAST.replace(day=1) - DAY  # and of the month before that
MONTH, MONTH_BEFORE = f"{LAST:%Y-%m}", f"{BEFORE:%Y-%m}"
LEGS = [{"account": "handling_fees", "amount": "11.00"}, {"account": "operator_account", "amount": "-11.00"}]


def load(service, first=LAST - DAY):
    """Two accountants and an admin; the scheme begins on the first of these days."""
    terms = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15"}
    scheme = network.scheme("tern-bay", first, {"cup-300": "2.50"}, terms=[terms])
    service.admin.load(network.reference([scheme], {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller")}))
    service.ann_key, service.ben_key = (service.create_key(name, "accountant") for name in ("ann", "ben"))
    service.ann, service.ben = service.client(service.ann_key), service.client(service.ben_key)
    return service


@pytest.fixture
def people(service):
    return load(service)


def close_days(people, first=LAST - DAY, last=LAST):
    for n in range((last - first).days + 1):
        people.admin.close("tern-bay", first + n * DAY)


def trade(people, day, n=4):
    people.admin.post_many(
        [
            event("issue", "anchor", at(day), issued=cups(cup_300=n)),
            event("return", "brick", at(day), returned=cups(cup_300=1)),
        ]
    )


def journal(day, clock="10:00", legs=LEGS):
    return event("journal", None, at(day, clock), scheme="tern-bay", legs=legs, reason="a fee that was wrong")


def proposed(client, sent):
    answer = client.send("POST", "/v1/events", sent)
    assert answer.status == 202, answer.body
    return sent


def decide(client, sent, what="approve", body=None):
    return client.send("POST", f"/v1/journals/{sent['event_id']}/{what}", body)


def change(client, what, month=MONTH, query=""):
    body = {"reason": "a fee was left out"} if what == "reopen" else None
    answer = client.send("POST", f"/v1/schemes/tern-bay/months/{month}/{what}{query}", body)
    assert answer.status == 202, answer.body
    return answer.json["proposal"]


def approve(client, number):
    return client.send("POST", f"/v1/proposals/{number}/approve")


def change_by_two(people, what, month=MONTH):
    answer = approve(people.ben, change(people.ann, what, month))
    assert answer.status == 200, answer.body


def states(people):
    return {m["month"]: m["state"] for m in people.admin.items("/v1/schemes/tern-bay/months")}


def refuse(people, what, month, status, reason):
    body = {"reason": "a fee was left out"} if what == "reopen" else None
    people.ann.refused("POST", f"/v1/schemes/tern-bay/months/{month}/{what}", body, status, reason)


def test_a_month_is_closed_and_reopened_by_two_people(people):
    trade(people, LAST)
    this = f"{THIS:%Y-%m}"
    assert states(people) == {this: "running", MONTH: "running"}
    refuse(people, "close", MONTH, 409, "month_not_ended")
    close_days(people)
    assert states(people)[MONTH] == "open"
    number = change(people.ann, "close")
    assert change(people.ben, "close") == number, "it waits already"
    shown = people.admin.get(f"/v1/schemes/tern-bay/months/{MONTH}")
    assert (shown["state"], shown["proposal"], shown["proposed_by"]["key"]) == ("closing_proposed", number, "ann")
    early = proposed(people.ann, journal(LAST, "09:00"))  # it takes journals until the second person has approved
    assert decide(people.ben, early).status == 200
    waits = proposed(people.ann, journal(LAST, "09:30"))
    people.ann.refused("POST", f"/v1/proposals/{number}/approve", None, 409, "second_key_needed")
    assert people.ben.send("POST", f"/v1/proposals/{number}/approve?dry_run=true").status == 200
    assert states(people)[MONTH] == "closing_proposed"
    assert approve(people.ben, number).json["status"] == "approved"
    shown = people.admin.get(f"/v1/schemes/tern-bay/months/{MONTH}")
    assert (shown["state"], shown["proposed_by"]["key"], shown["decided_by"]["key"]) == ("closed", "ann", "ben")
    assert "decided_at" in shown and states(people)[this] == "running"

    people.ann.refused("POST", "/v1/events", journal(LAST), 409, "month_closed")
    people.ann.refused("POST", "/v1/events?dry_run=true", journal(LAST), 409, "month_closed")
    assert "month_closed" in decide(people.ben, waits).reasons
    assert decide(people.ben, waits, "withdraw", {"reason": "too late"}).status == 200
    now = proposed(people.ann, journal(THIS))
    assert decide(people.ben, now).status == 200
    trade(people, LAST)  # late events are facts, and post to an open day
    people.admin.assert_holds()

    again = change(people.ben, "reopen")
    assert states(people)[MONTH] == "reopening_proposed"
    people.ann.refused("POST", "/v1/events", journal(LAST), 409, "month_closed")
    assert approve(people.ann, again).status == 200 and states(people)[MONTH] == "open"
    late = proposed(people.ann, journal(LAST))
    entry = decide(people.ben, late).json["entry"]
    recorded = people.admin.get(f"/v1/entries/{entry}", scheme="tern-bay")
    assert (recorded["late"], recorded["business_date"]) == (True, str(THIS))
    people.admin.assert_holds()


def test_what_cannot_be_proposed(people):
    close_days(people)
    refuse(people, "reopen", MONTH, 409, "month_open")
    change_by_two(people, "close")
    refuse(people, "close", MONTH, 409, "month_closed")
    refuse(people, "close", f"{THIS:%Y-%m}", 409, "month_not_ended")
    for month in (MONTH_BEFORE, "2001-01", "9999-12", "2026-13", "2026-1", "2026-00", "2026-012", "x", MONTH + "-01"):
        for what in ("close", "reopen"):
            refuse(people, what, month, 404, "not_found")
        assert people.admin.send("GET", f"/v1/schemes/tern-bay/months/{month}").status == 404
    people.ann.refused("POST", f"/v1/schemes/tern-bay/months/{MONTH}/reopen", {}, 422, "member_missing")


def test_a_proposal_is_checked_again_when_it_is_approved(people):
    """Both proposals were right when they were made. After one of them, the other no longer is."""
    close_days(people)
    change_by_two(people, "close")
    first, second = change(people.ann, "reopen"), change(people.ann, "reopen")
    assert first == second
    other = people.ann.send("POST", f"/v1/schemes/tern-bay/months/{MONTH}/reopen", {"reason": "another reason"}).json[
        "proposal"
    ]
    assert other == first, "the reason does not make it another"
    assert approve(people.ben, first).status == 200
    close = change(people.ann, "close")
    assert people.ann.send("POST", f"/v1/proposals/{close}/withdraw", {"reason": "not yet"}).status == 200
    assert states(people)[MONTH] == "open"
    people.ben.refused("POST", f"/v1/proposals/{close}/approve", None, 409, "proposal_decided")


def test_months_close_with_those_before_and_reopen_with_those_after(service):
    people = load(service, BEFORE)
    for n in range((LAST - BEFORE).days + 1):
        people.admin.close("tern-bay", BEFORE + n * DAY)
    waiting = change(people.ann, "close", MONTH_BEFORE)
    change_by_two(people, "close", MONTH)
    shown = [m for m in people.admin.items("/v1/schemes/tern-bay/months", limit=1)]
    assert [m["month"] for m in shown] == [f"{THIS:%Y-%m}", MONTH, MONTH_BEFORE]
    people.ann.refused("POST", "/v1/events", journal(BEFORE), 409, "month_closed")
    people.ben.refused("POST", f"/v1/proposals/{waiting}/approve", None, 409, "month_closed")
    assert people.ann.send("POST", f"/v1/proposals/{waiting}/withdraw", {"reason": "closed"}).status == 200
    assert states(people) == {f"{THIS:%Y-%m}": "running", MONTH: "closed", MONTH_BEFORE: "closed"}
    change_by_two(people, "reopen", MONTH_BEFORE)
    assert states(people) == {f"{THIS:%Y-%m}": "running", MONTH: "open", MONTH_BEFORE: "open"}
    assert len(people.admin.items("/v1/changes", of="month", scheme="tern-bay")) == 4
    people.admin.assert_holds()


def test_a_change_is_recorded(people):
    close_days(people)
    number = change(people.ann, "close")
    approve(people.ben, number)
    change_by_two(people, "reopen")
    closed, reopened = people.admin.items("/v1/changes", of="month")
    assert (closed["name"], closed["scheme"], closed["by"]["key"], closed["proposal"]) == (
        MONTH,
        "tern-bay",
        "ben",
        number,
    )
    assert "before" not in closed and closed["after"]["closed"] is True
    assert (reopened["before"]["closed"], reopened["after"]["closed"], reopened["why"]) == (
        True,
        False,
        "a fee was left out",
    )
    trade(people, THIS)
    people.admin.assert_holds()
    people.database.run("UPDATE month_decision SET closed = true WHERE position = 2")
    broken = {c["check"] for c in people.admin.get("/v1/checks")["items"] if c["verdict"] != "holds"}
    assert "changes_verify" in broken


def test_a_second_person_finds_it_on_the_start_page(people):
    close_days(people)
    number = change(people.ann, "close")
    for client, task in ((people.ben, "proposals_to_approve"), (people.ann, "proposals_made")):
        tasks = {t["task"]: t["count"] for t in client.get("/")["tasks"]}
        assert tasks.get(task) == 1
    shown = people.ben.get(f"/v1/proposals/{number}")
    assert (shown["what"], shown["name"], shown["request"]) == ("month", f"tern-bay.{MONTH}", {"closed": True})
    assert shown["subject"]["month"] == MONTH and shown["subject"]["state"] == "closing_proposed"
    assert [p["proposal"] for p in people.ben.items("/v1/proposals", scheme="tern-bay")] == [number]


def test_journals_race_the_close_of_their_month(people):
    """Each journal is in the ledger before the month closes, or is refused: never after."""
    close_days(people)
    for n in range(4):
        sent = [proposed(people.ann, journal(LAST, f"09:{n}{k}")) for k in range(6)]
        number = change(people.ann, "close")
        clients = [people.client(people.ben_key) for _ in sent]
        answers = at_once(
            *(lambda c=c, s=s: decide(c, s) for c, s in zip(clients[:3], sent[:3])),
            lambda: approve(people.ben, number),
            *(lambda c=c, s=s: decide(c, s) for c, s in zip(clients[3:], sent[3:])),
        )
        month = answers.pop(3)
        assert month.status == 200, month.body
        assert all(a.status == 200 or "month_closed" in a.reasons for a in answers), [a.body for a in answers]
        recorded = {e["event"]["event_id"] for e in people.admin.feed("tern-bay") if e["kind"] == "journal"}
        assert {s["event_id"] for s in sent} & recorded == {
            s["event_id"] for s, a in zip(sent, answers) if a.status == 200
        }
        for s, a in zip(sent, answers):
            if a.status != 200:
                assert "month_closed" in decide(people.ben, s).reasons
                assert decide(people.ben, s, "withdraw", {"reason": "too late"}).status == 200
        people.ann.refused("POST", "/v1/events", journal(LAST), 409, "month_closed")
        change_by_two(people, "reopen")
    people.admin.assert_holds()


def refuse_statement(people, statement, error=psycopg2.errors.IntegrityError):
    connection = psycopg2.connect(people.database.service_dsn)
    with pytest.raises(error):
        connection.cursor().execute(statement)
    connection.close()


def test_the_database_itself_refuses(people):
    close_days(people)
    sent = proposed(people.ann, journal(LAST))
    entry = decide(people.ben, sent).json["entry"]
    number = change(people.ann, "close")
    decision = (
        "INSERT INTO month_decision SELECT 1, '{month}', {position}, {closed}, now(), {by}, {proposal}"
        " FROM proposal WHERE number = {proposal}; SET CONSTRAINTS ALL IMMEDIATE"
    )
    first = f"{MONTH}-01"
    ben = people.database.rows("SELECT id FROM api_key WHERE name = 'ben'")[0][0]
    ann = people.database.rows("SELECT id FROM api_key WHERE name = 'ann'")[0][0]
    refuse_statement(people, decision.format(month=first, position=1, closed="true", by=ben, proposal=number))
    assert approve(people.ben, number).status == 200
    wrong = [
        decision.format(month=first, position=2, closed="true", by=ben, proposal=number),  # it is closed already
        decision.format(month=first, position=3, closed="false", by=ben, proposal=number),  # a position is left out
        decision.format(month=first, position=2, closed="false", by=ann, proposal=number),  # another approved it
        decision.format(month=first, position=2, closed="false", by=ben, proposal=number),  # they agreed to close it
        decision.format(month=f"{THIS:%Y-%m}-01", position=1, closed="true", by=ben, proposal=number),  # not ended
        decision.format(month=str(LAST), position=1, closed="true", by=ben, proposal=number),  # no first day
        # a journal of the closed month
        f"INSERT INTO entry SELECT e.scheme, h.last_entry + 1, '{THIS}', e.kind, true, e.site, e.api_key,"
        " e.occurred_at, e.recorded_at, e.hash, e.event, e.accounts, e.amounts"
        f" FROM entry e JOIN scheme_head h USING (scheme) WHERE e.entry = {entry}",
    ]
    for statement in wrong:
        refuse_statement(people, statement)
    for statement in ("UPDATE month_decision SET closed = false", "DELETE FROM month_decision"):
        refuse_statement(people, statement, psycopg2.errors.InsufficientPrivilege)


def test_the_figures_of_a_month_are_those_of_its_reports(people):
    trade(people, LAST - DAY)
    trade(people, LAST, 7)
    decide(people.ben, proposed(people.ann, journal(LAST)))
    close_days(people)
    decide(people.ben, proposed(people.ann, journal(THIS)))
    for month, last in ((MONTH, LAST), (f"{THIS:%Y-%m}", (THIS + timedelta(days=31)).replace(day=1) - DAY)):
        shown = people.admin.get(f"/v1/schemes/tern-bay/months/{month}")
        assert shown["to"] == str(last)
        span = {"scheme": "tern-bay", "from": shown["from"], "to": shown["to"]}
        rows = people.admin.items("/v1/reports/income-statement", **span)
        totals = {r["section"]: Decimal(r["amount"]) for r in rows if r["account"] == "total"}
        variance = sum(Decimal(r["amount"]) for r in rows if r["section"] == "variance")
        surplus = totals.get("surplus", totals.get("shortfall"))
        assert [Decimal(shown[m]) for m in ("income", "expenses", "variance", "surplus")] == [
            totals["income"],
            totals["expenses"],
            variance,
            surplus,
        ]
        tax = people.admin.items("/v1/reports/tax", **span)
        assert Decimal(shown["tax"]) == Decimal(tax[-1]["tax"])
    assert Decimal(people.admin.get(f"/v1/schemes/tern-bay/months/{MONTH}")["income"]) == Decimal("1.10")


def test_pages_lead_on(people):
    """The list leads to the month, the month to its reports."""
    close_days(people)

    def read(target):
        return Page(people.admin.send("GET", target, headers={"Accept": "text/html"}).body)

    listed = read("/v1/schemes/tern-bay/months")
    assert [row["Month"] for row in listed.table()] == [f"{THIS:%Y-%m}", MONTH]
    assert f"/v1/schemes/tern-bay/months/{MONTH}" in [a.get("href") for a in listed.all("a")]
    month = read(f"/v1/schemes/tern-bay/months/{MONTH}")
    targets = [a.get("href") for a in month.all("a")]
    for report, end in (("trial-balance", "as_of"), ("income-statement", "to"), ("tax", "to")):
        wanted = f"/v1/reports/{report}?scheme=tern-bay&from={LAST - DAY}&{end}={LAST}"
        assert wanted in targets, report
        assert people.admin.send("GET", wanted).status == 200


def test_two_people_close_and_reopen_by_forms(people):
    close_days(people)
    ann, ben, target = Browser(people), Browser(people), f"/v1/schemes/tern-bay/months/{MONTH}"
    assert [ann.sign_in("ann", people.ann_key).status, ben.sign_in("ben", people.ben_key).status] == [303, 303]
    for act, after, said in (("closeMonth", "closed", {}), ("reopenMonth", "open", {"/reason": "a bill came late"})):
        [link] = [href for href in forms_of(page(ann, target)) if f"/forms/{act}?" in href]
        led_to(form(ann, link).fill(said).send())
        [approve] = {
            href for href in forms_of(page(ben, "/v1/proposals?status=open&mine=false")) if "approveProposal" in href
        }
        led_to(form(ben, approve).send())
        assert people.admin.get(target)["state"] == after
