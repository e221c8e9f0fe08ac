# SPDX-License-Identifier: ISC
"""The reference data of a large network: POST /v1/reference takes the document that GET /v1/reference gives."""
import json

import pytest

import network
from harness import new_service
from network import WORKED_DAY

SITES, PARTICIPANTS = 3000, 1000


@pytest.fixture(scope="module")
def document():
    schemes = [
        network.scheme(f"bay-{n}", WORKED_DAY, {"cup-300": "2.50", "cup-450": "3.50"}, terms=[{"service_fee": "0.10"}])
        for n in range(70)
    ]
    sites = {
        f"site-{n}": (
            f"bay-{n % 70}",
            f"member-{n % PARTICIPANTS}",
            {
                "name": f"The cafe at the end of quay {n}, " + "by the harbour" * 7,
                "latitude": 47.5,
                "longitude": -52.7,
                "par_stock": [{"cup_type": "cup-300", "quantity": n + 1}],
            },
        )
        for n in range(SITES)
    }
    return network.reference(schemes, sites)


def test_what_is_given_is_taken(shared, document):
    assert len(json.dumps(document)) > 1 << 20
    assert shared.admin.load(document)["sites"] == SITES
    given = shared.admin.send("GET", "/v1/reference")
    assert given.status == 200 and given.headers["Transfer-Encoding"] == "chunked"
    assert {s["site"]: s["name"] for s in given.json["sites"]} == {s["site"]: s["name"] for s in document["sites"]}
    assert {s["scheme"]: (len(s["terms"]), len(s["refund_values"])) for s in given.json["schemes"]} == {
        f"bay-{n}": (1, 2) for n in range(70)
    }
    assert len(given.json["participants"]) == PARTICIPANTS and len(given.json["cup_types"]) == 2
    taken = shared.admin.send("POST", "/v1/reference", given.body)
    assert taken.status == 200, taken.body
    assert taken.json == {
        "schemes": 70,
        "participants": PARTICIPANTS,
        "sites": SITES,
        "cup_types": 2,
        "terms": 70,
        "refund_values": 140,
        "office_accounts": 0,
        "tax_registrations": 0,
        "site_kinds": 0,
        "agreements": 0,
    }
    assert shared.admin.send("GET", "/v1/reference").body == given.body
    till = shared.client(shared.create_key("till", "pos", sites=["site-7"]))
    assert [s["site"] for s in till.get("/v1/reference")["sites"]] == ["site-7"]


def test_only_those_who_may_load_it_send_so_much(shared, document):
    body = json.dumps(document).encode()
    auditor = shared.client(shared.create_key("auditor", "auditor"))
    auditor.get("/v1/me")
    for client in (auditor, shared.client()):
        assert client.send("POST", "/v1/reference", body).status == 413
    assert shared.admin.send("POST", "/v1/events", body).status == 413
    strangers = [
        shared.client("dk_" + "x" * 40) for _ in range(3)
    ]  # an unknown key may be new, so it gets 401, not 413
    assert [c.send("POST", "/v1/reference", body).status for c in strangers] == [401] * 3


def test_its_limit_is_a_setting(database, document):
    service = new_service(database, max_reference_bytes=100_000)
    try:
        assert service.admin.send("POST", "/v1/reference", json.dumps(document).encode()[:100_001]).status == 413
        assert service.admin.load({"cup_types": document["cup_types"]})["cup_types"] == 2
    finally:
        service.stop()
