# SPDX-License-Identifier: ISC
"""Documents of reference data as a whole. Schemes trade while one is loaded. All its faults come at once. Its rows are
judged as if they came in turn."""
import threading
from datetime import timedelta

import psycopg2
import pytest

import network
from harness import wait_until
from network import at, business_day, cups, event

FIRST = business_day() - timedelta(days=3)
IBANS = ["DE89370400440532013000", "GB29NWBK60161331926819"]  # check values, section 3


def two_schemes(**more):
    return network.reference(
        [network.scheme(code, FIRST, {"cup-300": "2.50"}, **more) for code in ("tern-bay", "skerry")],
        {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller"), "cairn": ("skerry", "hearth")},
    )


def issue(site="anchor"):
    return event("issue", site, at(FIRST), issued=cups(cup_300=1))


class Loading:
    """A load that waits in its middle, for a site that somebody else has locked."""

    def __init__(self, service, document, site):
        self.holder = psycopg2.connect(service.database.owner_dsn)
        self.holder.cursor().execute("SELECT FROM site WHERE code = %s FOR UPDATE", (site,))
        self.answers = []
        client = service.client(service.admin_key)
        self.thread = threading.Thread(
            target=lambda: self.answers.append(client.send("POST", "/v1/reference", document))
        )
        self.thread.start()
        wait_until(
            lambda: service.database.rows(
                "SELECT FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
            ),
            "the load waits for the site",
        )

    def end(self):
        self.holder.close()
        self.thread.join()
        return self.answers[0]


def renamed(document):
    document["sites"] = [{**site, "name": "Another name"} for site in document["sites"]]
    return document


def test_schemes_trade_while_a_document_is_loaded(service):
    """Schemes without events wait: some changes are allowed only before the first event."""
    admin, document = service.admin, two_schemes()
    admin.load(document)
    admin.post(issue())
    loading = Loading(service, renamed(document), "anchor")
    try:
        assert [admin.post(issue(site))["status"] for site in ("anchor", "brick")] == ["recorded"] * 2
        assert admin.get("/v1/sites/anchor")["name"] == "Anchor"
    finally:
        answer = loading.end()
    assert answer.status == 200
    assert {s["name"] for s in admin.items("/v1/sites")} == {"Another name"}
    assert admin.post(issue())["entry"] == 4
    admin.assert_holds()


def test_what_depends_on_silence_keeps_everybody_waiting(service):
    """A site may move while nothing is posted there. Its first event waits until the move is through."""
    admin, document = service.admin, two_schemes()
    admin.load(document)
    admin.post(issue("anchor"))
    document["sites"][1] |= {"participant": "hearth"}
    loading = Loading(service, document, "brick")
    client, posted = service.client(service.admin_key), []
    till = threading.Thread(target=lambda: posted.append(client.post(issue("brick"))))
    till.start()
    till.join(0.5)
    assert not posted
    assert loading.end().status == 200
    till.join()
    assert posted[0]["status"] == "recorded" and admin.get("/v1/sites/brick")["participant"] == "hearth"
    admin.assert_holds()


def test_another_instance_sees_the_new_data(service):
    admin, document = service.admin, two_schemes()
    admin.load(document)
    admin.post(issue())
    document["sites"].append({**document["sites"][0], "site": "dock"})
    admin.load(document)
    assert admin.post(issue("dock"))["status"] == "recorded"


def faults_of(service, document):
    answer = service.admin.send("POST", "/v1/reference", document)
    assert answer.status in (409, 422), answer.body
    return answer.json, {(e["pointer"], e["reason"]) for e in answer.json["errors"]}


def test_faults_of_shape_hide_no_others(service):
    document = two_schemes()
    document["participants"][0] = {"participant": "hearth", "bank_account": {"iban": "DE00370400440532013000"}}
    document["schemes"][0] |= {"currency": "XQQ", "cut_off": "24:00"}
    document["schemes"][1]["terms"][0] |= {"netting": "sideways", "service_fee": "0.1"}
    document["schemes"][1]["refund_values"].append({"cup_type": "cup-999", "effective_date": "soon", "amount": "2.5"})
    document["sites"][0] |= {"gln": "9506000134300", "kind": "kiosk"}
    document["sites"][1] |= {"scheme": "nowhere", "participant": "nobody", "name": ""}
    document["sites"].append(dict(document["sites"][2]))
    document["tax_registrations"] = [{"participant": "nobody", "effective_date": "2030-01-01", "tax_registered": 1}]
    _, faults = faults_of(service, document)
    assert faults == {
        ("/participants/0/name", "member_missing"),
        ("/participants/0/bank_account/iban", "bad_format"),
        ("/schemes/0/cut_off", "bad_format"),
        ("/schemes/0/currency", "currency_unknown"),
        ("/schemes/1/terms/0/netting", "value_unknown"),
        ("/schemes/1/terms/0/service_fee", "amount_decimals"),
        ("/schemes/1/refund_values/1/effective_date", "bad_format"),
        ("/schemes/1/refund_values/1/cup_type", "cup_type_unknown"),
        ("/schemes/1/refund_values/1/amount", "amount_decimals"),
        ("/sites/0/kind", "value_unknown"),
        ("/sites/0/gln", "bad_format"),
        ("/sites/1/name", "bad_format"),
        ("/sites/1/scheme", "scheme_unknown"),
        ("/sites/1/participant", "participant_unknown"),
        ("/sites/3", "name_taken"),
        ("/tax_registrations/0/tax_registered", "wrong_type"),
        ("/tax_registrations/0/participant", "participant_unknown"),
    }
    assert service.admin.items("/v1/schemes") == []


def test_a_put_has_all_its_faults_too(service):
    service.admin.load(two_schemes())
    bad = {"scheme": "nowhere", "participant": "hearth", "name": 7, "kind": "cafe", "opened_on": "2020-01-01"}
    answer = service.admin.refused("PUT", "/v1/sites/dock", bad, 422, "scheme_unknown")
    assert {(e["pointer"], e["reason"]) for e in answer.json["errors"]} == {
        ("/name", "wrong_type"),
        ("/scheme", "scheme_unknown"),
    }


def test_a_row_that_refers_to_a_faulty_one_is_not_blamed(service):
    document = two_schemes()
    document["cup_types"][0]["volume_ml"] = "300"
    document["participants"][0]["name"] = ""
    document["schemes"][1]["time_zone"] = "Atlantis/Capital"
    document["sites"][0]["par_stock"] = [{"cup_type": "cup-300", "quantity": 5}]
    document["site_kinds"] = [{"site": "cairn", "effective_date": "2030-01-01", "kind": "hub"}]
    document["sites"][2]["opened_on"] = "1999"
    _, faults = faults_of(service, document)
    assert faults == {
        ("/cup_types/0/volume_ml", "wrong_type"),
        ("/participants/0/name", "bad_format"),
        ("/schemes/1/time_zone", "time_zone_unknown"),
        ("/sites/2/opened_on", "bad_format"),
    }


@pytest.mark.parametrize("order", [1, -1])
def test_a_first_value_is_the_first_of_the_document(service, order):
    """Of a cup type without a value, only the first row may start on a day that has begun; or one before it."""
    admin = service.admin
    admin.load(two_schemes())
    admin.post(issue())
    days = [FIRST, FIRST + timedelta(days=1)][::order]
    lines = "cup_type,effective_date,amount\n" + "".join(f"cup-450,{day},3.50\n" for day in days)
    csv = {"Content-Type": "text/csv"}
    answer = admin.send("POST", "/v1/schemes/tern-bay/refund-values", lines.encode(), csv)
    if order < 0:
        assert answer.status == 200
    else:
        assert [(e["pointer"], e["reason"]) for e in answer.json["errors"]] == [
            ("/3/effective_date", "starts_too_soon")
        ]


def operators(ibans):
    document = two_schemes()
    for scheme, iban in zip(document["schemes"], ibans):
        scheme["operator"] = {"name": "Tern Bay Cups", "bank_account": {"iban": iban}}
    return document


def test_a_bank_account_of_another_scheme(service):
    """Also of one in the same document. An account that an earlier row has given up is free."""
    admin = service.admin
    _, faults = faults_of(service, operators(["DE89370400440532013000"] * 2))
    assert faults == {("/schemes/1/operator/bank_account", "bank_account_shared")}
    admin.load(operators(IBANS[:1]))
    _, faults = faults_of(service, operators([IBANS[1], IBANS[1]]))
    assert faults == {("/schemes/1/operator/bank_account", "bank_account_shared")}
    assert admin.load(operators(IBANS[::-1]))["schemes"] == 2
    _, faults = faults_of(service, operators(IBANS))
    assert faults == {("/schemes/0/operator/bank_account", "bank_account_shared")}


def test_changes_are_kept_in_order(service):
    """There is a row for each thing that differs: first those that were there, then new ones."""
    admin, document = service.admin, two_schemes()
    admin.load(document)
    kept = service.database.rows("SELECT of_what, name FROM reference_change WHERE of_what <> 'key' ORDER BY number")
    assert kept == [
        ("cup_type", "cup-300"),
        ("cup_type", "cup-450"),
        ("participant", "hearth"),
        ("participant", "miller"),
        ("scheme", "tern-bay"),
        ("scheme", "skerry"),
        ("terms", str(FIRST)),
        ("terms", str(FIRST)),
        ("refund_value", f"cup-300/{FIRST}"),
        ("refund_value", f"cup-300/{FIRST}"),
        ("site", "anchor"),
        ("site", "brick"),
        ("site", "cairn"),
    ]
    last = service.database.rows("SELECT max(number) FROM reference_change")[0][0]
    admin.load(document)
    assert service.database.rows("SELECT max(number) FROM reference_change")[0][0] == last
    document["sites"][1]["name"] = "Brick East"
    document["sites"].insert(0, {**document["sites"][0], "site": "dock"})
    admin.load(document)
    assert service.database.rows(
        "SELECT name, before->>'name', after->>'name' FROM reference_change WHERE number > %s ORDER BY number", last
    ) == [("brick", "Brick", "Brick East"), ("dock", None, "Anchor")]
    admin.assert_holds()


def test_rows_changed_past_the_service_are_kept_as_well(service):
    """Several rows by one statement, one of them as it was, and a row that is removed."""
    service.admin.load(two_schemes())
    last = service.database.rows("SELECT max(number) FROM reference_change")[0][0]
    service.database.run("UPDATE site SET name = 'Brick'; DELETE FROM site WHERE code = 'anchor'")
    assert service.database.rows(
        "SELECT way, name, before->>'name', after->>'name' FROM reference_change WHERE number > %s ORDER BY number",
        last,
    ) == [
        ("database", "anchor", "Anchor", "Brick"),
        ("database", "cairn", "Cairn", "Brick"),
        ("database", "anchor", "Brick", None),
    ]
    found = service.admin.get("/v1/checks")
    broken = next(c for c in found["items"] if c["check"] == "changes_verify")
    assert broken["verdict"] == "broken"


def test_a_dry_run_lists_each_member_that_changes(service):
    """Of a document, a list in CSV and a PUT. The list is what the list of changes then has."""
    admin, document = service.admin, two_schemes()
    admin.load(document)
    assert admin.send("POST", "/v1/reference?dry_run=true", document).json["changes"] == []
    document["sites"][0]["name"] = "Anchor East"
    document["sites"][1]["gln"] = "9506000134307"  # GLN: check values, section 4
    document["schemes"][0]["carry_days"] = 9
    document["participants"].append({"participant": "quay", "name": "Quay"})
    dry = admin.send("POST", "/v1/reference?dry_run=true", document).json
    assert dry["changes"] == [
        {"of": "participant", "name": "quay", "member": "name", "to": "Quay"},
        {"of": "participant", "name": "quay", "member": "tax_registered", "to": True},
        {"of": "scheme", "name": "tern-bay", "scheme": "tern-bay", "member": "carry_days", "from": 30, "to": 9},
        {
            "of": "site",
            "name": "anchor",
            "scheme": "tern-bay",
            "member": "name",
            "from": "Anchor",
            "to": "Anchor East",
        },
        {"of": "site", "name": "brick", "scheme": "tern-bay", "member": "gln", "to": "9506000134307"},
    ]
    assert dry["more_changes"] == 0 and dry["sites"] == 3
    last = admin.get("/v1/changes", limit=1000)["items"][-1]["number"]
    assert "changes" not in admin.load(document)
    recorded = [c for c in admin.get("/v1/changes", limit=1000)["items"] if c["number"] > last]
    assert [
        {"of": c["of"], "name": c["name"], **({"scheme": c["scheme"]} if "scheme" in c else {}), "member": m}
        for c in recorded
        for m in sorted({**c.get("before", {}), **c["after"]})
    ] == [{k: v for k, v in change.items() if k not in ("from", "to")} for change in dry["changes"]]


def test_a_dry_run_of_a_list_and_of_a_put(service):
    admin = service.admin
    admin.load(two_schemes())
    line = b"site,scheme,participant,name,kind,opened_on\nanchor,tern-bay,hearth,Anchor,hub,2000-01-01\n"
    csv = admin.send("POST", "/v1/sites?dry_run=true", line, {"Content-Type": "text/csv"}).json
    kind = {"of": "site", "name": "anchor", "scheme": "tern-bay", "member": "kind", "from": "cafe", "to": "hub"}
    assert csv["changes"] == [kind]
    cup = {"name": "Cup 300 ml", "volume_ml": 300, "mass_g": 50}
    put = admin.send("PUT", "/v1/cup-types/cup-300?dry_run=true", cup)
    assert put.json == {
        "cup_type": "cup-300",
        **cup,
        "changes": [{"of": "cup_type", "name": "cup-300", "member": "mass_g", "from": 48, "to": 50}],
        "more_changes": 0,
    }
    assert admin.get("/v1/cup-types/cup-300")["mass_g"] == 48
    assert "changes" not in admin.put("/v1/cup-types/cup-300", cup).json


def test_a_long_dry_run_says_how_much_it_leaves_out(service):
    document = network.reference(
        [network.scheme("tern-bay", FIRST, {"cup-300": "2.50"})],
        {f"site-{n}": ("tern-bay", "hearth") for n in range(300)},
    )
    dry = service.admin.send("POST", "/v1/reference?dry_run=true", document).json
    assert len(dry["changes"]) == 1000
    assert sum(change["of"] == "site" for change in dry["changes"]) + dry["more_changes"] == 300 * 5


def test_faults_beyond_the_list_are_counted(service):
    document = two_schemes()
    document["sites"] = [{**document["sites"][0], "site": f"site-{n}", "scheme": "nowhere"} for n in range(120)]
    document["sites"][7]["kind"] = "kiosk"
    problem, _ = faults_of(service, document)
    assert len(problem["errors"]) == 50 and problem["more_errors"] >= 121 - 1 - 50
    page = service.admin.send("POST", "/v1/reference", document, {"Accept": "text/html, */*;q=0.1"}).body.decode()
    assert page.count("<tr>") == 1 + 50 and f"Faults beyond this list: {problem['more_errors']}" in page
    document["sites"] = document["sites"][:40]
    problem, _ = faults_of(service, document)
    assert len(problem["errors"]) == 41 and "more_errors" not in problem
