# SPDX-License-Identifier: ISC
"""The lists of sites and participants by scheme and by participant."""
import pytest

import network
from network import WORKED_DAY

SITES = {
    "anchor": ("tern-bay", "hearth"),
    "brick": ("tern-bay", "miller"),
    "cairn": ("skerry", "hearth"),
    "dock": ("tern-bay", "hearth"),
    "eyot": ("skerry", "quay"),
}


@pytest.fixture(scope="module")
def net(shared):
    schemes = [network.scheme(code, WORKED_DAY, {"cup-300": "2.50"}) for code in ("tern-bay", "skerry", "fulmar")]
    shared.admin.load(network.reference(schemes, SITES, nobody={}))
    return shared


def sites(client, **query):
    return [site["site"] for site in client.items("/v1/sites", **query)]


def participants(client, **query):
    return [p["participant"] for p in client.items("/v1/participants", **query)]


@pytest.mark.parametrize("limit", [1, 2, 100])
def test_sites_of(net, limit):
    """The list goes on to its end, whatever the slice; so `next` keeps the filter."""
    assert sites(net.admin, limit=limit) == list(SITES)
    assert sites(net.admin, scheme="tern-bay", limit=limit) == ["anchor", "brick", "dock"]
    assert sites(net.admin, participant="hearth", limit=limit) == ["anchor", "cairn", "dock"]
    assert sites(net.admin, scheme="tern-bay", participant="hearth", limit=limit) == ["anchor", "dock"]
    assert sites(net.admin, scheme="fulmar", limit=limit) == []
    assert sites(net.admin, participant="nobody", limit=limit) == []


@pytest.mark.parametrize("limit", [1, 100])
def test_participants_of(net, limit):
    assert participants(net.admin, limit=limit) == ["hearth", "miller", "nobody", "quay"]
    assert participants(net.admin, scheme="tern-bay", limit=limit) == ["hearth", "miller"]
    assert participants(net.admin, scheme="skerry", limit=limit) == ["hearth", "quay"]
    assert participants(net.admin, scheme="fulmar", limit=limit) == []


def test_the_next_slice_keeps_the_filter_in_its_address(net):
    answer = net.admin.send("GET", "/v1/sites?scheme=tern-bay&participant=hearth&limit=1")
    assert 'rel="next"' in answer.headers["Link"]
    for part in ("scheme=tern-bay", "participant=hearth", "limit=1"):
        assert part in answer.headers["Link"]


def test_a_bound_key_sees_its_own(net):
    till = net.client(net.create_key("till", "pos", sites=["anchor", "cairn"]))
    assert sites(till) == ["anchor", "cairn"] and sites(till, scheme="skerry") == ["cairn"]
    assert sites(till, participant="hearth") == ["anchor", "cairn"]
    assert participants(till, scheme="skerry") == ["hearth"]
    miller = net.client(net.create_key("miller", "participant", participant="miller"))
    assert sites(miller, scheme="tern-bay") == ["brick"] and participants(miller, scheme="tern-bay") == ["miller"]


def test_what_a_key_may_not_know_of_is_not_there(net):
    miller = net.client(net.create_key("miller-2", "participant", participant="miller"))
    refused = [
        miller.refused("GET", target, None, 404, "not_found").body
        for target in (
            "/v1/sites?scheme=skerry",
            "/v1/sites?scheme=no-such",
            "/v1/sites?participant=hearth",
            "/v1/sites?participant=no-such",
            "/v1/participants?scheme=skerry",
        )
    ]
    assert len(set(refused)) == 1
    net.admin.refused("GET", "/v1/participants?participant=hearth", None, 422, "parameter_unknown")


def test_the_page_has_a_form_for_it(net):
    page = net.admin.send("GET", "/v1/sites?format=html&scheme=tern-bay&limit=2").body.decode()
    assert 'name="scheme"' in page and 'name="participant"' in page
    assert "anchor" in page and "cairn" not in page
    page = net.admin.send("GET", "/v1/participants?format=html&scheme=skerry").body.decode()
    assert 'name="scheme"' in page and "quay" in page and "miller" not in page
