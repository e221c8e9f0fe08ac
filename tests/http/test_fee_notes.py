# SPDX-License-Identifier: ISC
"""Fee notes. The accounting contract wants one for each participant and month, numbered per scheme without gaps, issued
once after the month's last close and never changed, with a correction in the next one."""
from datetime import timedelta
from decimal import Decimal

import psycopg2
import pytest

import network
from harness import wait_until
from network import WORKED_DAY, at, cups, event
from pages import Page, tidy

DAY = timedelta(days=1)
LAST = WORKED_DAY.replace(day=1) - DAY  # of a month
FIRST, NEXT_LAST = LAST - 2 * DAY, (LAST + 35 * DAY).replace(day=1) - DAY
MONTH = f"{LAST:%Y-%m}"
TERMS = {"service_fee": "0.10", "handling_fee": "0.04", "tax_rate": "0.15", "minimum_payment": "0.00"}
SITES = {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller"), "dock": ("tern-bay", "quay")}
HTML = {"Accept": "text/html"}
NOTES = "/v1/fee-notes"


class Month:
    """hearth issues 37 cups on three days, 30 of them at 15 % tax and 7 at 20 %; miller takes 13 back; quay does
    nothing. The last day of the month is closed last."""

    def __init__(self, service):
        self.service, self.admin = service, service.admin
        dearer = {**TERMS, "tax_rate": "0.20", "effective_date": str(LAST)}
        scheme = network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}, terms=[TERMS, dearer])
        scheme["operator"] = {"name": "Bay Cups & Co.", "bank_account": {"account": "7788", "bank_code": "0001-234"}}
        self.admin.load(network.reference([scheme], SITES))
        self.wrong = event("issue", "anchor", at(LAST), issued=cups(cup_300=7))
        for sent in (
            event("issue", "anchor", at(FIRST), issued=cups(cup_300=11)),
            event("issue", "anchor", at(FIRST + DAY), issued=cups(cup_300=19)),
            event("return", "brick", at(FIRST + DAY), returned=cups(cup_300=13)),
            self.wrong,
        ):
            self.admin.post(sent)
        self.close(FIRST, LAST - DAY)

    def close(self, first, last):
        day = first
        while day <= last:
            self.admin.close("tern-bay", day)
            day += DAY

    def notes(self, client=None, **query):
        return (client or self.admin).items(NOTES, scheme="tern-bay", **query)

    def note(self, number):
        return self.admin.get(f"{NOTES}/tern-bay/{number}")


@pytest.fixture
def month(service):
    return Month(service)


def test_the_last_close_of_a_month_issues_them(month):
    """Fees and tax by hand: 3.00 at 15 %, rounded by day from 1.10 and 1.90 (0.165 and 0.285, half to even: 0.16 and
    0.28), and 0.70 at 20 %; granted are 13 times 0.04 at 15 % (0.078)."""
    assert month.notes() == []
    month.admin.send("POST", f"/v1/schemes/tern-bay/days/{LAST}/close?dry_run=true")
    assert month.notes() == []
    month.close(LAST, LAST)
    one, two = month.notes()
    assert [(n["number"], n["participant"], n["month"]) for n in (one, two)] == [
        (1, "hearth", MONTH),
        (2, "miller", MONTH),
    ]
    assert (one["charged"], one["granted"], one["balance"]) == ("4.28", "0.00", "4.28")
    assert (two["charged"], two["granted"], two["balance"]) == ("0.00", "0.60", "-0.60")
    note = month.note(1)
    assert note["charged"] == [
        {"fee": "service", "tax_rate": "0.20", "amount": "0.70", "tax": "0.14", "gross": "0.84"},
        {"fee": "service", "tax_rate": "0.15", "amount": "3.00", "tax": "0.44", "gross": "3.44"},
    ]
    assert note["granted"] == [] and note["balance"] == one["balance"]
    assert {k: v for k, v in note["totals"].items() if v != "0.00"} == {
        "charged_amount": "3.70",
        "charged_tax": "0.58",
        "charged": "4.28",
    }
    assert (note["from"], note["to"], note["operator"]) == (str(LAST.replace(day=1)), str(LAST), "Bay Cups & Co.")
    assert month.note(2)["granted"] == [
        {"fee": "handling", "tax_rate": "0.15", "amount": "0.52", "tax": "0.08", "gross": "0.60"}
    ]
    month.admin.close("tern-bay", LAST)  # again: it gives the same settlement
    assert month.notes() == [one, two]
    month.admin.assert_holds()


def test_a_correction_is_in_the_next(month):
    """A reversal on the day after the note is a negative line of the next one, by the fees of the reversed day. The
    numbers go on."""
    month.close(LAST, LAST)
    before = [month.note(n) for n in (1, 2)]
    month.admin.post(event("reversal", "anchor", at(LAST + DAY), reverses=month.wrong["event_id"]))
    month.admin.post(event("issue", "dock", at(LAST + DAY), issued=cups(cup_300=1)))
    month.close(LAST + DAY, NEXT_LAST)
    assert [(n["number"], n["participant"]) for n in month.notes()] == [
        *((1, "hearth"), (2, "miller"), (3, "hearth"), (4, "quay")),
    ]
    assert month.note(3)["charged"] == [
        {"fee": "service", "tax_rate": "0.20", "amount": "-0.70", "tax": "-0.14", "gross": "-0.84"}
    ]
    assert [month.note(n) for n in (1, 2)] == before
    month.admin.assert_holds()


def test_a_note_is_the_sum_of_the_statement(month):
    month.close(LAST, LAST)
    for listed in month.notes():
        note = month.note(listed["number"])
        query = {"scheme": "tern-bay", "participant": note["participant"], "from": note["from"], "to": note["to"]}
        rows = month.admin.items("/v1/reports/statement-of-account", **query)
        [closing] = [r for r in rows if r["section"] == "closing"]
        totals = {k: Decimal(v) for k, v in note["totals"].items()}
        assert Decimal(closing["service_fee"]) + Decimal(closing["standing_fee"]) == -totals["charged_amount"]
        assert Decimal(closing["service_tax"]) + Decimal(closing["standing_tax"]) == -totals["charged_tax"]
        assert Decimal(closing["handling_fee"]) == totals["granted_amount"]
        assert Decimal(closing["handling_tax"]) == totals["granted_tax"]
        for side in ("charged", "granted"):
            for figure, total in (("amount", f"{side}_amount"), ("tax", f"{side}_tax"), ("gross", side)):
                assert sum(Decimal(line[figure]) for line in note[side]) == totals[total]
        assert Decimal(note["balance"]) == totals["charged"] - totals["granted"]


def test_a_participant_reads_its_own(month):
    month.close(LAST, LAST)
    miller = month.service.client(month.service.create_key("miller-office", "participant", participant="miller"))
    quay = month.service.client(month.service.create_key("quay-office", "participant", participant="quay"))
    assert [n["number"] for n in month.notes(miller)] == [2] and month.notes(quay) == []
    assert miller.get(f"{NOTES}/tern-bay/2") == month.note(2)
    for number in ("1", "3", "0", "01", "x", "9" * 30):
        miller.refused("GET", f"{NOTES}/tern-bay/{number}", None, 404, "not_found")
    miller.refused("GET", f"{NOTES}?scheme=tern-bay&participant=hearth", None, 422, "parameter_invalid")
    month.admin.refused("GET", f"{NOTES}?scheme=tern-bay&participant=nobody", None, 422, "parameter_invalid")
    assert [n["number"] for n in month.notes(participant="hearth")] == [1]
    assert [n["number"] for n in month.notes(limit=1)] == [1, 2]


def test_its_page(month):
    month.close(LAST, LAST)
    answer = month.admin.send("GET", f"{NOTES}/tern-bay/1", headers=HTML)
    assert answer.status == 200 and tidy(answer.body) == ""
    page, note = Page(answer.body), month.note(1)
    assert page.title == "Fee note" and page.facts["Operator"] == "Bay Cups & Co." and page.facts["Month"] == MONTH
    assert [row["Tax"] for row in page.table()] == [line["tax"] for line in note["charged"]]
    total = [c.text for c in page.root.first("tfoot").all("th", "td")]
    assert total[0] == "Total" and total[-3:] == ["3.70", "0.58", "4.28"]
    [words] = [p.text for p in page.all("p") if p.has_class("due")]
    assert words == "The fees of the month come to 4.28 CAD in the operator's favour."
    assert [t.first("caption").text for t in page.all("table")] == ["Charged by the operator"]
    assert "ask a licensed accountant" in page.source and "Nothing is due by this note" in page.source
    statement = f"/v1/reports/statement-of-account?scheme=tern-bay&participant=hearth&from={note['from']}&to={LAST}"
    assert statement in page.links and f"{NOTES}?scheme=tern-bay" in page.links
    answer = month.admin.send("GET", f"{NOTES}/tern-bay/2", headers={**HTML, "Accept-Language": "fr"})
    page = Page(answer.body)
    assert not [e.text for e in page.all() if e.get("lang") == "en"]
    [words] = [p.text for p in page.all("p") if p.has_class("due")]
    assert words == "Les redevances du mois s’élèvent à 0.60 CAD en faveur du participant."
    assert '<data value="handling">manutention</data>' in page.source
    listed = Page(month.admin.send("GET", f"{NOTES}?scheme=tern-bay", headers=HTML).body)
    assert f"{NOTES}/tern-bay/1" in listed.links and len(listed.table()) == 2


def test_days_of_a_version_without_lines_have_no_rate(month):
    """Their fees are those of the entries."""
    database = month.service.database
    database.run(
        f"SET session_replication_role = replica; DELETE FROM fee_line WHERE business_date < '{LAST}'; INSERT INTO"
        f" older_fee_lines SELECT id, '{LAST - DAY}' FROM scheme"
    )
    month.close(LAST, LAST)
    assert month.note(1)["charged"] == [
        {"fee": "service", "tax_rate": "0.20", "amount": "0.70", "tax": "0.14", "gross": "0.84"},
        {"fee": "service", "amount": "3.00", "tax": "0.44", "gross": "3.44"},
    ]
    assert month.note(2)["granted"] == [{"fee": "handling", "amount": "0.52", "tax": "0.08", "gross": "0.60"}]


TAMPERINGS = {
    "a note is lost": "DELETE FROM fee_note WHERE number = 2",
    "a note is another participant's": "UPDATE fee_note SET participant = participant + 2 WHERE number = 1",
    "a note has another number": "UPDATE fee_note SET number = 3 WHERE number = 2",
    "an amount": "UPDATE fee_note_line SET amount = amount + 1 WHERE number = 1 AND position = 1",
    "a tax": "UPDATE fee_note_line SET tax = tax - 1 WHERE number = 1 AND position = 2",
    "a rate": "UPDATE fee_note_line SET tax_rate_ppm = 0 WHERE number = 1 AND position = 2",
    "a line is lost": "DELETE FROM fee_note_line WHERE number = 2",
    "a fee": "UPDATE fee_note_line SET fee = 'standing' WHERE number = 1 AND position = 2",
}


def test_the_check_finds_every_change(month):
    month.close(LAST, LAST)
    kept = f"SELECT count(*) FROM particulars WHERE business_date = '{LAST}'"
    wait_until(lambda: month.service.database.rows(kept) == [(1,)], "the particulars are kept")
    month.admin.assert_holds()
    connection = psycopg2.connect(month.service.database.owner_dsn)
    with connection, connection.cursor() as cursor:
        cursor.execute("CREATE TABLE kept_note AS TABLE fee_note; CREATE TABLE kept_line AS TABLE fee_note_line")
    for what, statement in TAMPERINGS.items():
        with connection, connection.cursor() as cursor:
            cursor.execute(f"SET session_replication_role = replica; {statement}")
            assert cursor.rowcount > 0, what
        broken = {c["check"] for c in month.admin.get("/v1/checks")["items"] if c["verdict"] != "holds"}
        assert "fee_notes_match" in broken and broken <= {"fee_notes_match", "particulars_verify"}, what
        with connection, connection.cursor() as cursor:
            cursor.execute(
                "DELETE FROM fee_note; DELETE FROM fee_note_line; INSERT INTO fee_note SELECT * FROM kept_note; INSERT"
                " INTO fee_note_line SELECT * FROM kept_line"
            )
    connection.close()
    month.admin.assert_holds()
