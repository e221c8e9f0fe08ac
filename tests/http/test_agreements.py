# SPDX-License-Identifier: ISC
"""Agreements between two schemes, which two people sign, one for each. The rules are the accounting contract's.
Contracts that two parties sign are common practice; there is no published source. Currencies and their decimals are
those of ISO 4217."""
from datetime import date, timedelta

import psycopg2
import pytest

import network
from browser import Browser, Form
from network import at, cups, event
from pages import Page
from test_schema import execute

FIRST = date.today() - timedelta(days=3)
LATER = date.today() + timedelta(days=3)
SITES = {"anchor": ("tern-bay", "hearth"), "eider-1": ("eider-sound", "miller")}
PATH = f"/v1/schemes/tern-bay/agreements/eider-sound/{LATER}"
AGREED = {
    "currency": "ISK",
    "rate": "0.0105",
    "values": [{"cup_type": "cup-300", "amount": "240"}, {"cup_type": "cup-450", "amount": "340"}],
}
ASKED = {**AGREED, "signs_for": "tern-bay"}


def document():
    return network.reference(
        [
            network.scheme("tern-bay", FIRST, {"cup-300": "2.50", "cup-450": "3.50"}),
            network.scheme(
                "eider-sound",
                FIRST,
                {"cup-300": "250", "cup-450": "350"},
                currency="ISK",
                time_zone="Atlantic/Reykjavik",
                stock_terms="on_deposit",
                terms=[dict.fromkeys(("minimum_payment", "service_fee", "handling_fee"), "0")],
            ),
            network.scheme("skerry", FIRST, {"cup-300": "2.00"}),
        ],
        SITES,
    )


class Network:
    """Ada is the admin; Ann and Ben keep the books."""

    def __init__(self, service):
        self.service, self.database, self.ada = service, service.database, service.admin
        self.ann, self.ben = (service.client(service.create_key(n, "accountant", holder=n)) for n in ("ann", "ben"))
        self.ada.load(document())

    def trade(self):
        self.ada.post(event("issue", "eider-1", at(FIRST + timedelta(days=1)), issued=cups(cup_300=1)))
        return self

    def propose(self, path=PATH, body=ASKED, by=None):
        answer = (by or self.ada).send("PUT", path, body)
        assert answer.status == 202, answer.body
        return answer.json

    def sign(self, proposal, by=None):
        return (by or self.ann).send("POST", f"/v1/proposals/{proposal['proposal']}/approve")

    def agree(self, path=PATH, body=ASKED):
        assert self.sign(self.propose(path, body)).status == 200
        return self.ada.get(path)


@pytest.fixture
def net(service):
    return Network(service)


def test_two_people_sign_one_for_each(net):
    net.trade()
    proposal = net.propose()
    assert (proposal["what"], proposal["name"]) == ("agreement", f"tern-bay/eider-sound/{LATER}")
    assert proposal["schemes"] == ["eider-sound", "tern-bay"] and proposal["request"] == ASKED
    [change] = proposal["changes"]
    signed = {"key": "first-admin", "holder": "first-admin"}
    assert change["of"] == "agreement" and change["after"] == {**AGREED, "signed_for_home": signed}
    assert net.ada.send("GET", PATH).status == 404
    net.ada.refused("POST", f"/v1/proposals/{proposal['proposal']}/approve", None, 409, "second_key_needed")
    assert net.sign(proposal).status == 200
    held = net.ada.get(PATH)
    assert held == {
        "home": "tern-bay",
        "host": "eider-sound",
        "effective_date": str(LATER),
        **AGREED,
        "signed_for_home": signed,
        "signed_for_host": {"key": "ann", "holder": "ann"},
    }
    assert net.sign(proposal).json["status"] == "approved", "the same answer again"
    for scheme in ("tern-bay", "eider-sound"):
        assert net.ada.items(f"/v1/schemes/{scheme}/agreements") == [held]
    assert net.ada.items("/v1/schemes/skerry/agreements") == []
    assert net.ada.send("GET", "/v1/schemes/nowhere/agreements").status == 404
    net.ada.assert_holds()


def test_the_proposer_may_sign_for_the_host(net):
    held = net.agree(body={**AGREED, "signs_for": "eider-sound"})
    assert (held["signed_for_home"]["key"], held["signed_for_host"]["key"]) == ("ann", "first-admin")


def test_it_always_takes_two_people(service):
    """Also where nothing is posted yet, and where payments take one person."""
    given = document()
    for scheme in given["schemes"]:
        scheme["dual_control"] = False
    service.admin.load(given)
    assert service.admin.send("PUT", PATH, ASKED).status == 202
    whole = service.admin.send(
        "POST",
        "/v1/reference",
        {"agreements": [{"home": "tern-bay", "host": "eider-sound", "effective_date": str(LATER), **ASKED}]},
    )
    assert whole.status == 202 and whole.json["what"] == "reference"
    ann = service.client(service.create_key("ann", "accountant", holder="Ann"))
    assert ann.send("POST", f"/v1/proposals/{whole.json['proposal']}/approve").status == 200
    assert service.admin.get(PATH)["signed_for_host"]["holder"] == "Ann"


def test_each_direction_and_each_day_stands_alone(net):
    back = f"/v1/schemes/eider-sound/agreements/tern-bay/{LATER}"
    net.agree()
    net.agree(back, {**AGREED, "rate": "0.01", "signs_for": "tern-bay"})
    last = f"/v1/schemes/tern-bay/agreements/eider-sound/{LATER + timedelta(days=9)}"
    ended = net.agree(last, {**ASKED, "values": []})
    assert ended["values"] == []
    paths = [back, PATH, last]
    assert [i["effective_date"] for i in net.ada.items("/v1/schemes/tern-bay/agreements")] == [
        p.rpartition("/")[2] for p in paths
    ]
    assert [i["home"] for i in net.ada.items("/v1/schemes/tern-bay/agreements", limit=1)] == [
        "eider-sound",
        "tern-bay",
        "tern-bay",
    ]


def test_the_document_gives_them_back(net):
    net.trade()
    net.agree()
    given = net.ada.get("/v1/reference")
    assert given["agreements"] == [
        {"home": "tern-bay", "host": "eider-sound", "effective_date": str(LATER), **AGREED}
    ], "in the form in which it is taken"
    before = net.ada.items("/v1/changes")
    taken = net.ada.load(given)
    assert taken["agreements"] == 1 and net.ada.items("/v1/changes") == before, "no change"
    till = net.service.client(net.service.create_key("till", "pos", sites=["anchor"]))
    assert "agreements" not in till.get("/v1/reference")
    till.refused("GET", "/v1/schemes/tern-bay/agreements", None, 403, "role_not_allowed")
    given["agreements"][0]["rate"] = "0.02"
    net.ada.refused("POST", "/v1/reference", given, 422, "member_missing")
    given["agreements"][0]["signs_for"] = "eider-sound"
    answer = net.ada.send("POST", "/v1/reference", given)
    assert answer.status == 202, answer.body
    assert net.sign(answer.json, by=net.ben).status == 200
    assert net.ada.get(PATH)["signed_for_home"]["key"] == "ben"


def test_changes_are_kept(net):
    net.agree()
    net.agree(body={**ASKED, "rate": "0.011"})
    first, second = net.ada.items("/v1/changes", of="agreement")
    assert (first["scheme"], first["name"], first["by"]["key"]) == ("tern-bay", f"eider-sound/{LATER}", "ann")
    assert first["after"].items() >= AGREED.items() and "before" not in first
    assert (second["before"], second["after"]) == ({"rate": "0.0105"}, {"rate": "0.011"})
    assert second["proposal"] == 2
    count = len(net.ada.items("/v1/changes"))
    net.ada.put(PATH, {**AGREED, "rate": "0.011000"})
    assert len(net.ada.items("/v1/changes")) == count, "the same again needs nobody and changes nothing"
    net.ada.assert_holds()


def test_it_starts_on_a_later_day_of_the_host(net):
    """Reykjavik is UTC+0 all the year, so its day begins at 03:00 UTC."""
    today = f"/v1/schemes/tern-bay/agreements/eider-sound/{network.business_day(zone='Atlantic/Reykjavik')}"
    assert net.ada.send("PUT", today, ASKED).status == 202, "while nothing is posted, any day will do"
    net.trade()
    net.ada.refused("PUT", today, ASKED, 422, "starts_too_soon")
    proposal = net.ada.items("/v1/proposals")[0]
    answer = net.sign(proposal)
    assert answer.status == 422 and "starts_too_soon" in answer.reasons, "nor may it be signed too late"


def refused_puts():
    """Path, body, reason and pointer."""
    scheme = "/v1/schemes/tern-bay/agreements"
    yield f"{scheme}/nowhere/{LATER}", ASKED, "not_found"
    yield f"/v1/schemes/nowhere/agreements/tern-bay/{LATER}", ASKED, "not_found"
    yield f"{scheme}/tern-bay/{LATER}", ASKED, "value_unknown"
    yield f"{scheme}/eider-sound/2026-02-30", ASKED, "parameter_invalid"
    yield PATH, AGREED, "member_missing"
    for member in ("currency", "rate", "values"):
        yield PATH, {k: v for k, v in ASKED.items() if k != member}, "member_missing"
    yield PATH, {**ASKED, "signs_for": "skerry"}, "value_unknown"
    yield PATH, {**ASKED, "currency": "EUR"}, "currency_unknown"
    for rate in ("0", "-1", "1e3", "0.0000000000001", "9223372.036854775808", "01", "1,5", "x"):
        yield PATH, {**ASKED, "rate": rate}, "bad_format"
    yield PATH, {**ASKED, "rate": 1}, "wrong_type"
    yield f"{scheme}/skerry/{LATER}", {**ASKED, "currency": "CAD", "values": []}, "out_of_range"
    for value, reason in (
        ({"cup_type": "cup-300", "amount": "240.00"}, "amount_decimals"),
        ({"cup_type": "cup-300", "amount": "0"}, "out_of_range"),
        ({"cup_type": "cup-300", "amount": "-1"}, "out_of_range"),
        ({"cup_type": "cup-300", "amount": "1000000000001"}, "out_of_range"),
        ({"cup_type": "cup-999", "amount": "1"}, "cup_type_unknown"),
        ({"cup_type": "cup-300"}, "member_missing"),
    ):
        yield PATH, {**ASKED, "values": [value]}, reason
    yield PATH, {**ASKED, "values": AGREED["values"] + AGREED["values"][:1]}, "cup_type_repeated"


def test_what_is_refused(net):
    for path, body, reason in refused_puts():
        answer = net.ada.send("PUT", path, body)
        assert answer.status in (404, 422) and reason in answer.reasons, f"{path} {body}: {answer.body}"
    assert net.ada.items("/v1/proposals") == []
    row = {"home": "tern-bay", "host": "nowhere", "effective_date": str(LATER), **ASKED}
    answer = net.ada.send(
        "POST", "/v1/reference", {"agreements": [row, {**row, "home": "nowhere", "host": "tern-bay"}]}
    )
    assert {(e["pointer"], e["reason"]) for e in answer.json["errors"]} == {
        ("/agreements/0/host", "scheme_unknown"),
        ("/agreements/1/home", "scheme_unknown"),
    }
    row["host"] = "eider-sound"
    net.ada.refused("POST", "/v1/reference", {"agreements": [row, row]}, 409, "name_taken")
    cent = {**ASKED, "currency": "CAD", "values": [{"cup_type": "cup-300", "amount": "2.40"}]}
    assert net.propose(body=cent)["status"] == "proposed", "in the home's currency, with the home's decimals"


def test_the_currency_of_a_pair_never_changes(net):
    net.agree()
    later = f"/v1/schemes/tern-bay/agreements/eider-sound/{LATER + timedelta(days=1)}"
    other = {**ASKED, "currency": "CAD", "rate": "95", "values": []}
    net.ada.refused("PUT", later, other, 409, "fixed_once_posted")
    scheme = {k: v for k, v in net.ada.get("/v1/schemes/tern-bay").items() if k != "scheme"}
    net.ada.refused("PUT", "/v1/schemes/tern-bay", {**scheme, "currency": "EUR"}, 409, "fixed_once_posted")
    back = f"/v1/schemes/eider-sound/agreements/tern-bay/{LATER}"
    assert net.agree(back, {**other, "rate": "95"})["currency"] == "CAD", "the other direction stands alone"


def row(home="tern-bay", host="eider-sound", days=0, **members):
    """A row of the document."""
    return {"home": home, "host": host, "effective_date": str(LATER + timedelta(days=days)), **ASKED, **members}


def faults(answer):
    return {(e["pointer"], e["reason"]) for e in answer.json["errors"]}


def test_many_in_one_document(net):
    net.trade()
    days = [row(days=n, rate=f"0.01{n:02}1", values=ASKED["values"][n % 2 :]) for n in range(30)]
    back = [row("eider-sound", "tern-bay", n, signs_for="eider-sound") for n in range(2)]
    answer = net.ada.send("POST", "/v1/reference", {"agreements": days + back})
    assert answer.status == 202 and len(answer.json["changes"]) == 32 and answer.json["others"] == 0, answer.body
    assert net.ada.items("/v1/schemes/tern-bay/agreements") == []
    assert net.sign(answer.json).status == 200
    held = net.ada.items("/v1/schemes/tern-bay/agreements")
    terms = ("home", "host", "effective_date", *AGREED)
    assert [{m: h[m] for m in terms} for h in held] == [{m: r[m] for m in terms} for r in back + days]
    assert {(h["home"], h["signed_for_home"]["key"], h["signed_for_host"]["key"]) for h in held} == {
        ("tern-bay", "first-admin", "ann"),
        ("eider-sound", "first-admin", "ann"),
    }
    kept = net.ada.items("/v1/changes", of="agreement")
    assert [c["name"] for c in kept] == [f"{r['host']}/{r['effective_date']}" for r in days + back]
    assert net.ada.load({"agreements": days + back})["agreements"] == 32
    days[7]["rate"] = "0.02"
    answer = net.ada.send("POST", "/v1/reference", {"agreements": days + back})
    [change] = answer.json["changes"]
    assert (change["name"], change["after"]["rate"]) == (f"eider-sound/{days[7]['effective_date']}", "0.02")
    net.ada.assert_holds()


def test_a_document_is_answered_with_all_faults(net):
    net.trade()
    value = {"cup_type": "cup-999", "amount": "1"}
    short = row(days=1, values=[value, {"cup_type": "cup-300"}])
    del short["rate"]
    rows = [
        row(days=2, rate="x", values=[value]),
        short,
        row(host="nowhere", signs_for="nowhere"),
        row(days=-1000),
        row(days=3, currency="CAD", values=[]),
        {m: v for m, v in row(days=4).items() if m != "signs_for"},
    ]
    answer = net.ada.send("POST", "/v1/reference", {"agreements": rows})
    assert faults(answer) == {
        ("/agreements/0/rate", "bad_format"),
        ("/agreements/0/values/0/cup_type", "cup_type_unknown"),
        ("/agreements/1/rate", "member_missing"),
        ("/agreements/1/values/0/cup_type", "cup_type_unknown"),
        ("/agreements/1/values/1/amount", "member_missing"),
        ("/agreements/2/host", "scheme_unknown"),
        ("/agreements/3/effective_date", "starts_too_soon"),
        ("/agreements/4/currency", "fixed_once_posted"),
        ("/agreements/5/signs_for", "member_missing"),
    }
    assert net.ada.items("/v1/proposals") == []


def test_a_scheme_with_a_fault_is_blamed_alone(net):
    given = document()
    given["schemes"][2] = {**given["schemes"][2], "scheme": "cairn", "time_zone": "Nowhere/Else"}
    given["agreements"] = [row(host="cairn", currency="CAD", rate="1", values=[])]
    answer = net.ada.send("POST", "/v1/reference", given)
    assert faults(answer) == {("/schemes/2/time_zone", "time_zone_unknown")}


def test_a_pair_has_one_currency_within_a_document(net):
    """Also where none of its agreements was there before; rows are judged as if they came in turn."""
    cent = {"currency": "CAD", "rate": "95", "values": []}
    rows = [row(), row(days=1, **cent), row("eider-sound", "tern-bay", **cent)]
    answer = net.ada.send("POST", "/v1/reference", {"agreements": rows})
    assert faults(answer) == {("/agreements/1/currency", "fixed_once_posted")}
    net.agree()
    answer = net.ada.send("POST", "/v1/reference", {"agreements": [row(**cent), row(days=1)]})
    assert faults(answer) == {("/agreements/1/currency", "fixed_once_posted")}
    answer = net.ada.send("POST", "/v1/reference", {"agreements": [row(**cent), row(days=1, **cent)]})
    assert net.sign(answer.json).status == 200, "while all of them change"
    assert {a["currency"] for a in net.ada.items("/v1/schemes/tern-bay/agreements")} == {"CAD"}


def test_a_dry_run_leaves_nothing(net):
    answer = net.ada.send("POST", "/v1/reference?dry_run=true", {"agreements": [row()]})
    assert answer.status == 202 and [c["of"] for c in answer.json["changes"]] == ["agreement"], answer.body
    assert net.ada.items("/v1/proposals") == [] and net.ada.send("GET", PATH).status == 404
    net.agree()
    assert net.ada.send("PUT", f"{PATH}?dry_run=true", ASKED).json["changes"] == []
    answer = net.ada.send("PUT", f"{PATH}?dry_run=true", {**ASKED, "rate": "0.02"})
    assert answer.json["changes"][0]["after"] == {"rate": "0.02"}, answer.body
    assert net.ada.get(PATH)["rate"] == AGREED["rate"]


UNSIGNED = (
    "UPDATE agreement SET home_signed_by = host_signed_by",
    "UPDATE agreement SET host_signed_by = NULL",
    "INSERT INTO agreement SELECT home, host, effective_date + 1, NOT in_host_currency, rate_e12, cup_types, amounts,"
    " home_signed_by, host_signed_by FROM agreement",
    "INSERT INTO agreement SELECT host, home, effective_date, false, 0, '{}', '{}', home_signed_by, host_signed_by"
    " FROM agreement",
    "UPDATE agreement SET amounts = '{0, 1}'",
    "UPDATE agreement SET amounts = '{1}'",
    "UPDATE agreement SET effective_date = effective_date + 1",
    "UPDATE agreement SET home = 3",
    "DELETE FROM agreement",
)


def test_the_service_can_not_write_what_two_did_not_sign(net):
    net.agree()
    for statement in UNSIGNED:
        with pytest.raises(psycopg2.Error):
            execute(net.database.service_dsn, statement)
            pytest.fail(statement)


def test_pages(net):
    proposal = net.propose()
    page = net.ann.send("GET", f"/v1/proposals/{proposal['proposal']}?format=html").body.decode()
    assert "Signed for home" in page and "0.0105" in page
    net.sign(proposal)
    page = net.ada.send("GET", "/v1/schemes/tern-bay/agreements?format=html").body.decode()
    assert "Agreements with other schemes" in page and PATH in page
    page = net.ada.send("GET", f"{PATH}?format=html").body.decode()
    assert "Agreement between two schemes" in page and "0.0105" in page


def test_a_form_and_its_words(net):
    """A form of the browser proposes, another signs; and the pages are in French where that is asked for."""
    ada, ann = Browser(net.service), Browser(net.service)
    assert ada.sign_in("first-admin", net.service.admin_key).status == 303
    assert ann.sign_in("ann", net.ann.key).status == 303
    listed = "/v1/schemes/tern-bay/agreements"
    [new] = [f for f in Page(ada.send("GET", listed).text.encode()).links if "putAgreement" in f]
    fields = {
        ":home": "tern-bay",
        ":host": "eider-sound",
        ":effective_date": str(LATER),
        "/currency": "ISK",
        "/rate": "0.0105",
        "/values/0/cup_type": "cup-300",
        "/values/0/amount": "240",
        "/signs_for": "tern-bay",
    }
    answer = Form(ada, Page(ada.send("GET", new).text.encode()), "/forms/").fill(fields).send()
    assert answer.status == 303, answer.text
    [proposal] = net.ada.items("/v1/proposals")
    assert proposal["name"] == f"tern-bay/eider-sound/{LATER}"
    shown = f"/v1/proposals/{proposal['proposal']}"
    missing = set()
    for browser, target in ((ada, new), (ann, shown), (ada, listed)):
        answer = browser.send("GET", target, Accept_Language="fr")
        assert answer.status == 200
        missing |= {e.text for e in Page(answer.text.encode()).all() if e.get("lang") == "en"}
    assert net.sign(proposal).status == 200
    for target in (listed, PATH, f"/forms/putAgreement?target={PATH}", "/v1/changes?of=agreement"):
        page = Page(ada.send("GET", target, Accept_Language="fr").text.encode())
        missing |= {e.text for e in page.all() if e.get("lang") == "en"}
    assert missing == set(), missing
