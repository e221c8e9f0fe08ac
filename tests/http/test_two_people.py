# SPDX-License-Identifier: ISC
"""Two people must be two: tests known ways in which one person could act as two, and the writes that wait for a second
person. The rules are the accounting contract's. It is common practice that two must agree when money leaves; there is
no published source."""
from datetime import date, timedelta

import psycopg2
import pytest

import network
from harness import Service, at_once
from network import at, cups, event
from test_schema import execute

D0 = date.today() - timedelta(days=3)
IBAN, OTHER_IBAN = "NL91ABNA0417164300", "GB82WEST12345698765432"  # of the standard's own examples
OPERATOR = {"name": "Pool", "bank_account": {"account": "1", "bank_code": "2"}}


class Network:
    """tern-bay trades under dual control, its first day is closed by Ann, and Ada is the admin."""

    def __init__(self, service, **scheme):
        self.service, self.database, self.ada = service, service.database, service.admin
        self.ann, self.ben, self.cleo = (
            service.client(service.create_key(n.lower(), "accountant", holder=n)) for n in ("Ann", "Ben", "Cleo")
        )
        self.ada.load(
            network.reference(
                [
                    network.scheme(
                        "tern-bay", D0, {"cup-300": "2.50"}, operator=OPERATOR, **{"variance_limit": "20.00", **scheme}
                    ),
                    network.scheme("skerry", D0, {"cup-300": "2.00"}),
                ],
                {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller"), "gull": ("skerry", "puffin")},
                hearth={"bank_account": {"iban": IBAN}},
                miller={"bank_account": {"iban": IBAN}},
            )
        )

    def trade(self):
        self.ada.post_many(
            [
                event("issue", "anchor", at(D0), issued=cups(cup_300=40)),
                event("return", "brick", at(D0, "11:00"), returned=cups(cup_300=10)),
            ]
        )
        return self

    def close(self, by=None):
        settlement = (by or self.ann).close("tern-bay", D0)
        self.payment = next(p["payment_id"] for p in settlement["payments"] if p["to"] == "miller")
        return self

    def approve(self, client, status=200, reason=None):
        answer = client.send("POST", f"/v1/payments/{self.payment}/approve")
        assert answer.status == status and (reason is None or reason in answer.reasons), answer.body
        return answer.json

    def key(self, name, holder, role="accountant", maker=None, renew=False):
        """A key made by an admin over the interface. Ben approves the proposal if one is needed."""
        answer = (maker or self.ada).send("POST", "/v1/keys", {"name": name, "holder": holder, "role": role})
        assert answer.status in (201, 202), answer.body
        client = self.service.client(answer.json["key"])
        if answer.status == 202:
            client.refused("GET", "/v1/me", None, 401, "unauthenticated")
            assert self.ben.send("POST", f"/v1/proposals/{answer.json['proposal']}/approve").status == 200
        if renew:
            client = self.renew(client)
        return client

    def renew(self, client):
        answer = client.send("POST", "/v1/me/renew")
        assert answer.status == 200, answer.body
        return self.service.client(answer.json["key"])

    def scheme(self, **changes):
        """The body that makes this change to tern-bay; None removes a member."""
        body = {**self.ada.get("/v1/schemes/tern-bay"), **changes}
        return {k: v for k, v in body.items() if k != "scheme" and v is not None}

    def open(self, **asked):
        return self.ada.items("/v1/proposals", **asked)


@pytest.fixture
def net(service):
    return Network(service).trade()


# --- known ways around the rule ---------------------------------------------------------------------------------------


def test_switching_dual_control_off_for_a_moment_after_the_close(net):
    """Switching it off is a proposal. If Ben agrees, the closed day still stays as it was cut."""
    net.close()
    answer = net.ada.send("PUT", "/v1/schemes/tern-bay", net.scheme(dual_control=False))
    assert answer.status == 202 and net.ada.get("/v1/schemes/tern-bay")["dual_control"] is True
    net.approve(net.ann, 409, "approver_closed_day")
    assert net.ben.send("POST", f"/v1/proposals/{answer.json['proposal']}/approve").status == 200
    assert net.ada.get("/v1/schemes/tern-bay")["dual_control"] is False
    net.approve(net.ann, 409, "approver_closed_day")
    assert net.approve(net.ben)["status"] == "approved"


def test_making_a_second_key(net):
    """An admin makes a key for themselves, or for a person who does not exist. The maker has seen the secret."""
    net.close(net.ada)
    for name, holder in (("ada-2", "first-admin"), ("ada-3", " FIRST-Admin "), ("ghost", "Greta Ghost")):
        second = net.key(name, holder)
        net.approve(second, 409, "approver_closed_day")
    # once its holder has renewed it, the maker no longer has the secret
    assert net.approve(net.renew(second))["status"] == "approved"


def test_revoking_a_key_and_making_it_again(net):
    """Ann closed the day. A new key with her name and holder is still hers, and so are the acts of her old key."""
    net.close(net.ann)
    assert net.ada.send("DELETE", "/v1/keys/ann").status == 204
    again = net.key("ann", "Ann", renew=True)
    net.approve(again, 409, "approver_closed_day")
    other_name = net.key("annie", "ANN", renew=True)
    net.approve(other_name, 409, "approver_closed_day")
    assert net.approve(net.cleo)["status"] == "approved"


def test_redirecting_a_bank_account_between_close_and_file(net):
    net.close()
    net.approve(net.ben)
    answer = net.ada.send("PUT", "/v1/participants/miller", {"name": "Miller", "bank_account": {"iban": OTHER_IBAN}})
    assert answer.status == 202 and net.ada.get("/v1/participants/miller")["bank_account"] == {"iban": IBAN}
    assert answer.json["changes"] == [
        {
            "of": "participant",
            "name": "miller",
            "before": {"bank_account": {"iban": IBAN}},
            "after": {"bank_account": {"iban": OTHER_IBAN}},
        }
    ]
    # a whole document is no way around the rule
    answer = net.ada.send(
        "POST",
        "/v1/reference",
        {
            "participants": [
                {"participant": "miller", "name": "Miller & Sons", "bank_account": {"iban": OTHER_IBAN}},
                {"participant": "newcomer", "name": "Newcomer", "bank_account": {"iban": OTHER_IBAN}},
            ]
        },
    )
    assert answer.status == 202 and (answer.json["what"], answer.json["others"]) == ("reference", 1)
    assert net.ada.get("/v1/participants/miller")["name"] == "Miller"
    assert net.ada.send("GET", "/v1/participants/newcomer").status == 404
    assert net.ben.send("POST", f"/v1/proposals/{answer.json['proposal']}/approve").status == 200
    assert net.ada.get("/v1/participants/miller")["name"] == "Miller & Sons"
    assert net.ada.get("/v1/participants/newcomer")
    net.ada.assert_holds()


# --- persons ----------------------------------------------------------------------------------------------------------


def test_two_keys_of_one_maker_are_one_person_until_renewed(net):
    """Neither key is renewed, so the maker of both has both secrets."""
    dora, eve = net.key("dora", "Dora"), net.key("eve", "Eve")
    net.close(dora)
    net.approve(eve, 409, "approver_closed_day")
    net.approve(net.ada, 409, "approver_closed_day")
    assert net.approve(net.renew(eve))["status"] == "approved"


def test_what_was_done_before_the_renewal_may_be_the_maker_s(net):
    dora = net.key("dora", "Dora")
    net.close(dora)
    net.renew(dora)
    net.approve(net.ada, 409, "approver_closed_day")
    assert net.approve(net.cleo)["status"] == "approved"


def test_a_journal_takes_two_persons(net):
    second, renewed = net.key("ada-2", "First-Admin"), net.key("dora", "Dora", renew=True)
    journal = event(
        "journal",
        None,
        at(D0),
        scheme="tern-bay",
        reason="bank charges",
        legs=[{"account": "bank", "amount": "-1.00"}, {"account": "handling_fees", "amount": "1.00"}],
    )
    assert net.ada.send("POST", "/v1/events", journal).status == 202
    approve = f"/v1/journals/{journal['event_id']}/approve"
    second.refused("POST", approve, None, 409, "second_key_needed")
    assert renewed.send("POST", approve).status == 200


def test_renewing(net):
    """The old secret ends at once, and the new secret is shown once. The renewal is recorded, and the list of keys
    says so."""
    dora = net.key("dora", "Dora", "auditor")
    assert dora.send("POST", "/v1/me/renew?dry_run=true").json.keys() & {"key", "renewed_at"} == {"renewed_at"}
    assert dora.get("/v1/me")["holder"] == "Dora"
    answer = dora.send("POST", "/v1/me/renew?why=as+agreed")
    assert (
        answer.json.items() >= {"name": "dora", "holder": "Dora", "role": "auditor", "made_by": "first-admin"}.items()
    )
    dora.refused("GET", "/v1/me", None, 401, "unauthenticated")
    dora.refused("POST", "/v1/me/renew", None, 401, "unauthenticated")
    assert net.service.client(answer.json["key"]).get("/v1/me")["name"] == "dora"
    (listed,) = (k for k in net.ada.items("/v1/keys") if k["name"] == "dora")
    assert listed["renewed_at"] == answer.json["renewed_at"] and answer.json["key"] not in str(listed)
    change = net.ada.items("/v1/changes", of="key", by="dora")[-1]
    assert (change["before"], change["after"].keys(), change["why"]) == ({}, {"renewed_at"}, "as agreed")
    net.ada.assert_holds()


def test_a_till_renews_its_key(net):
    till = net.service.client(
        net.ada.send("POST", "/v1/keys", {"name": "till", "holder": "Anchor", "role": "pos", "sites": ["anchor"]}).json[
            "key"
        ]
    )
    assert [s["site"] for s in net.renew(till).get("/v1/me")["sites"]] == ["anchor"]


# --- proposals --------------------------------------------------------------------------------------------------------


WEAKENING = {
    "dual control off": lambda net: ("PUT", "/v1/schemes/tern-bay", net.scheme(dual_control=False)),
    "a higher limit": lambda net: ("PUT", "/v1/schemes/tern-bay", net.scheme(variance_limit="20.01")),
    "no limit": lambda net: ("PUT", "/v1/schemes/tern-bay", net.scheme(variance_limit=None)),
    "the operator's account": lambda net: (
        "PUT",
        "/v1/schemes/tern-bay",
        net.scheme(operator={**OPERATOR, "bank_account": {"account": "1", "bank_code": "3"}}),
    ),
    "the operator's bank": lambda net: (
        "PUT",
        "/v1/schemes/tern-bay",
        net.scheme(operator={**OPERATOR, "bic": "AGRIFRPP"}),
    ),
    "the operator's creditor id": lambda net: (
        "PUT",
        "/v1/schemes/tern-bay",
        net.scheme(operator={**OPERATOR, "creditor_id": "X1"}),
    ),
    "no operator": lambda net: ("PUT", "/v1/schemes/tern-bay", net.scheme(operator=None)),
    "a participant's account": lambda net: (
        "PUT",
        "/v1/participants/hearth",
        {"name": "Hearth", "bank_account": {"iban": OTHER_IBAN}},
    ),
    "a participant's bank": lambda net: (
        "PUT",
        "/v1/participants/hearth",
        {"name": "Hearth", "bank_account": {"iban": IBAN}, "bic": "AGRIFRPP"},
    ),
    "no account": lambda net: ("PUT", "/v1/participants/hearth", {"name": "Hearth"}),
    "an accountant": lambda net: ("POST", "/v1/keys", {"name": "dora", "holder": "Dora", "role": "accountant"}),
    "an admin": lambda net: ("POST", "/v1/keys", {"name": "dora", "holder": "Dora", "role": "admin"}),
}
NOT_WEAKENING = {
    "a lower limit": lambda net: ("PUT", "/v1/schemes/tern-bay", net.scheme(variance_limit="19.99")),
    "the operator's name": lambda net: (
        "PUT",
        "/v1/schemes/tern-bay",
        net.scheme(operator={**OPERATOR, "name": "The pool"}),
    ),
    "a participant's name": lambda net: (
        "PUT",
        "/v1/participants/hearth",
        {"name": "H", "bank_account": {"iban": IBAN}},
    ),
    "a new participant": lambda net: ("PUT", "/v1/participants/cook", {"name": "Cook", "bank_account": {"iban": IBAN}}),
    "one of a scheme where nothing is posted": lambda net: (
        "PUT",
        "/v1/participants/puffin",
        {"name": "Puffin", "bank_account": {"iban": IBAN}},
    ),
    "an auditor": lambda net: ("POST", "/v1/keys", {"name": "dora", "holder": "Dora", "role": "auditor"}),
    "the same again": lambda net: ("PUT", "/v1/schemes/tern-bay", net.scheme()),
}


@pytest.mark.parametrize("what", WEAKENING)
def test_what_weakens_control_waits_for_a_second_person(net, what):
    """The proposer is refused, and another person does it. The record says who proposed and who approved."""
    method, path, body = WEAKENING[what](net)
    before = net.ada.get("/v1/reference"), [k["name"] for k in net.ada.items("/v1/keys")]
    tried = net.ada.send(method, path + "?dry_run=true", body)
    assert tried.status == 202 and tried.json["dry_run"] and net.open() == []
    answer = net.ada.send(method, path + "?why=it+must+be", body)
    assert (
        answer.status == 202 and answer.json["status"] == "proposed" and len(answer.json["changes"]) == 1
    ), answer.body
    number = answer.json["proposal"]
    assert (net.ada.get("/v1/reference"), [k["name"] for k in net.ada.items("/v1/keys")]) == before
    (shown,) = net.open()
    assert {**shown, "status": "proposed", "key": None} == {**answer.json, "key": None}
    assert shown["schemes"] == ["tern-bay"] and shown["proposed_by"] == {"key": "first-admin", "holder": "first-admin"}
    net.ada.refused("POST", f"/v1/proposals/{number}/approve", None, 409, "second_key_needed")
    done = net.ben.send("POST", f"/v1/proposals/{number}/approve")
    assert done.status == 200 and (done.json["status"], done.json["decided_by"]["holder"]) == (
        "approved",
        "Ben",
    ), done.body
    assert (net.ada.get("/v1/reference"), [k["name"] for k in net.ada.items("/v1/keys")]) != before
    made = [
        c for c in net.ada.items("/v1/changes", limit=1000) if c.get("proposal") == number and c["of"] != "proposal"
    ]
    assert [(c["of"], c["by"]["key"], c["why"]) for c in made] == [(shown["changes"][0]["of"], "ben", "it must be")]
    steps = net.ada.items("/v1/changes", of="proposal")
    assert [(c["by"]["holder"], c["after"]["status"]) for c in steps] == [("first-admin", "open"), ("Ben", "approved")]
    net.ada.assert_holds()


@pytest.mark.parametrize("what", NOT_WEAKENING)
def test_what_does_not_weaken_it_is_done_at_once(net, what):
    answer = net.ada.send(*NOT_WEAKENING[what](net))
    assert answer.status in (200, 201) and net.open() == [], answer.body


@pytest.mark.parametrize("what", WEAKENING)
def test_an_empty_network_starts_without_that(service, what):
    net = Network(service)
    assert net.ada.send(*WEAKENING[what](net)).status in (200, 201)


def test_without_dual_control_one_person_may(service):
    net = Network(service, dual_control=False).trade()
    for what, ask in WEAKENING.items():
        if what != "an admin":  # the network has a key of that name already
            assert net.ada.send(*ask(net)).status in (200, 201), what
    # once something is posted in skerry, its dual control counts for keys
    net.ada.post(event("issue", "gull", at(D0), issued=cups(cup_300=1)))
    assert net.ada.send("POST", "/v1/keys", {"name": "eve", "holder": "Eve", "role": "admin"}).status == 202


def test_dual_control_off_and_an_account_in_one_document(net):
    """The first change of a document must not permit its later changes."""
    answer = net.ada.send(
        "POST",
        "/v1/reference",
        {
            "schemes": [{"scheme": "tern-bay", **net.scheme(dual_control=False)}],
            "participants": [{"participant": "miller", "name": "Miller", "bank_account": {"iban": OTHER_IBAN}}],
        },
    )
    assert answer.status == 202 and {c["of"] for c in answer.json["changes"]} == {"scheme", "participant"}


def test_a_key_s_secret_opens_nothing_before_it_is_approved(net):
    body = {"name": "dora", "holder": "Dora", "role": "accountant"}
    answer = net.ada.send("POST", "/v1/keys", body)
    dora = net.service.client(answer.json["key"])
    dora.refused("GET", "/v1/me", None, 401, "unauthenticated")
    again = net.ada.send("POST", "/v1/keys", body)  # the same proposal waits already, and its secret was shown
    assert (again.status, again.json["proposal"]) == (202, answer.json["proposal"]) and "key" not in again.json
    assert net.ben.send("POST", f"/v1/proposals/{answer.json['proposal']}/approve").status == 200
    assert dora.get("/v1/me")["holder"] == "Dora"
    (listed,) = (k for k in net.ada.items("/v1/keys") if k["name"] == "dora")
    assert listed["made_by"] == "first-admin", "it is who has seen the secret that made it"
    assert answer.json["key"] not in str(net.ada.items("/v1/proposals", status="approved"))


# --- deciding ---------------------------------------------------------------------------------------------------------


def redirect(net, iban=OTHER_IBAN):
    answer = net.ada.send("PUT", "/v1/participants/miller", {"name": "Miller", "bank_account": {"iban": iban}})
    assert answer.status == 202, answer.body
    return answer.json["proposal"]


def test_a_decision_is_made_once(net):
    number = redirect(net)
    assert redirect(net) == number  # while it is open, the same request gets the same answer
    approve, withdraw = f"/v1/proposals/{number}/approve", f"/v1/proposals/{number}/withdraw"
    done = net.ben.send("POST", approve)
    assert net.ben.send("POST", approve).json == done.json
    net.cleo.refused("POST", approve, None, 409, "proposal_decided")
    net.ben.refused("POST", withdraw, {"reason": "no"}, 409, "proposal_decided")
    assert net.open() == [] and [p["proposal"] for p in net.open(status="approved")] == [number]


def test_withdrawing(net):
    """Any admin may withdraw a proposal, even its proposer. It stays withdrawn, and the same may be proposed again."""
    number = redirect(net)
    withdraw = f"/v1/proposals/{number}/withdraw"
    assert net.ada.send("POST", withdraw + "?dry_run=true", {"reason": "a slip"}).json["dry_run"]
    assert len(net.open()) == 1
    done = net.ada.send("POST", withdraw, {"reason": "a slip"})
    assert (done.json["status"], done.json["note"], done.json["decided_by"]["key"]) == (
        "withdrawn",
        "a slip",
        "first-admin",
    )
    assert net.ada.send("POST", withdraw, {"reason": "a slip"}).json == done.json
    net.ben.refused("POST", f"/v1/proposals/{number}/approve", None, 409, "proposal_decided")
    assert redirect(net) != number
    net.ada.assert_holds()


def test_it_is_done_as_of_now_under_the_usual_checks(net):
    """If a write has become impossible, its approver is refused, and the proposal waits on."""
    number = net.ada.send("POST", "/v1/keys", {"name": "dora", "holder": "Dora", "role": "admin"}).json["proposal"]
    net.service.create_key("dora", "auditor")
    net.ben.refused("POST", f"/v1/proposals/{number}/approve", None, 409, "name_taken")
    assert [p["proposal"] for p in net.open()] == [number]


def test_approvers_at_once(net):
    """Two people approve the same proposal while another withdraws it. It is decided once."""
    for iban in (OTHER_IBAN, IBAN) * 3:
        number = redirect(net, iban)
        answers = at_once(
            lambda: net.ben.send("POST", f"/v1/proposals/{number}/approve"),
            lambda: net.cleo.send("POST", f"/v1/proposals/{number}/approve"),
            lambda: net.ann.send("POST", f"/v1/proposals/{number}/withdraw", {"reason": "no"}),
        )
        assert sorted(a.status for a in answers) == [200, 409, 409], [a.body for a in answers]
        if answers[2].status == 200:
            assert net.ben.get("/v1/participants/miller")["bank_account"] != {"iban": iban}
            net.ada.agreed(
                net.ben, "PUT", "/v1/participants/miller", {"name": "Miller", "bank_account": {"iban": iban}}
            )
        assert net.ben.get("/v1/participants/miller")["bank_account"] == {"iban": iban}
    net.ada.assert_holds()


def test_who_has_lost_the_key_meanwhile(net):
    number = redirect(net)
    assert net.ada.send("DELETE", "/v1/keys/ben").status == 204
    net.ben.refused("POST", f"/v1/proposals/{number}/approve", None, 401, "unauthenticated")


@pytest.mark.parametrize("number", ["0", "99", "x", "-1", "1x", "9" * 30])
def test_proposals_that_are_not_there(net, number):
    net.ben.refused("POST", f"/v1/proposals/{number}/approve", None, 404, "not_found")
    net.ben.refused("POST", f"/v1/proposals/{number}/withdraw", {"reason": "no"}, 404, "not_found")


def test_the_list(net):
    redirect(net)
    net.ada.send("PUT", "/v1/schemes/tern-bay", net.scheme(dual_control=False))
    assert [p["what"] for p in net.open(scheme="tern-bay")] == ["participant", "scheme"]
    assert net.open(scheme="skerry") == []
    assert net.ada.items("/v1/proposals", limit=1) == net.open() and net.open(status="withdrawn") == []
    net.ada.refused("GET", "/v1/proposals?status=lost", None, 422, "parameter_invalid")
    net.ada.refused("GET", "/v1/proposals?scheme=nowhere", None, 404, "not_found")
    page = net.ada.send("GET", "/v1/proposals", headers={"Accept": "text/html"}).body.decode()
    assert "Proposals" in page and OTHER_IBAN in page


def test_a_single_admin_is_joined_by_the_command_line(service):
    """A single admin has this way out: a person with access to the host makes a key, and the change names the
    command line as its author."""
    service.admin.load(
        network.reference([network.scheme("tern-bay", D0, {"cup-300": "2.50"})], {"anchor": ("tern-bay", "hearth")})
    )
    service.admin.post(event("issue", "anchor", at(D0), issued=cups(cup_300=1)))
    answer = service.admin.send("POST", "/v1/keys", {"name": "bo", "holder": "Bo", "role": "admin"})
    bo = service.client(service.create_key("bo-2", "admin", holder="Bo"))
    assert bo.send("POST", f"/v1/proposals/{answer.json['proposal']}/approve").status == 200
    (made,) = (c for c in service.admin.items("/v1/changes", of="key", limit=1000) if c["name"] == "bo-2")
    assert made["way"] == "command_line" and "by" not in made


# --- in the database --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", ["proposal", "proposal_decision"])
@pytest.mark.parametrize("statement", ["UPDATE {} SET note = note", "DELETE FROM {}", "TRUNCATE {} CASCADE"])
def test_the_service_can_only_append(net, table, statement):
    with pytest.raises(psycopg2.errors.InsufficientPrivilege):
        execute(
            net.database.service_dsn,
            statement.format(table).replace("note = note", "why = why" if table == "proposal" else "note = note"),
        )


def test_a_proposal_that_somebody_rewrites_is_noticed(net):
    """Somebody with access to the database changes a proposal, so that the approved write differs from the proposed
    one, or another person proposed it."""
    number = redirect(net)
    for statement, *also in (
        ["UPDATE proposal SET body = replace(body, 'GB82WEST12345698765432', 'DE89370400440532013000')"],
        ["UPDATE proposal SET proposed_by = 2"],
        [f"INSERT INTO proposal_decision VALUES ({number}, 'withdrawn', now(), 2, 'x')", "lists_match"],
    ):
        net.database.run(f"CREATE TABLE kept_p AS TABLE proposal; SET session_replication_role = replica; {statement}")
        checks = net.ada.get("/v1/checks")
        broken = [c["check"] for c in checks["items"] if c["verdict"] == "broken"]
        assert broken == ["changes_verify", *also], statement
        net.database.run(
            "SET session_replication_role = replica; DELETE FROM proposal_decision; DELETE FROM proposal;"
            " INSERT INTO proposal SELECT * FROM kept_p; DROP TABLE kept_p"
        )
    net.ada.assert_holds()


def test_two_instances_know_of_each_other_s_keys(database, service):
    """A key that is renewed at one instance is renewed at all instances, and its old secret opens nothing."""
    net = Network(service).trade()
    other = Service(database).start()
    try:
        dora = net.key("dora", "Dora")
        net.close(net.ada)
        net.approve(other.client(dora.key), 409, "approver_closed_day")
        renewed = net.renew(dora)
        other.client(dora.key).refused("GET", "/v1/me", None, 401, "unauthenticated")
        assert net.approve(other.client(renewed.key))["status"] == "approved"
    finally:
        other.stop()
