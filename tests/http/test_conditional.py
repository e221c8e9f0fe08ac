# SPDX-License-Identifier: ISC
"""Conditional reads (RFC 9110 section 13.1.2): a till that reads an unchanged thing again gets no body."""
import pytest

import network
from network import WORKED_DAY, at, cups, event

READ_BY_TILLS = [
    "/v1/me",
    "/v1/reference",
    "/v1/sites",
    "/v1/cup-types",
    "/v1/schemes",
    "/v1/participants",
    "/v1/schemes/tern-bay/terms",
    "/v1/schemes/tern-bay/refund-values",
    "/v1/sites/anchor",
    "/v1/cup-types/cup-300",
    "/v1/events",
]
READ_BY_THE_OFFICE = [
    "/",
    "/v1/keys",
    "/v1/accounts?scheme=tern-bay",
    "/v1/reports/stock?scheme=tern-bay",
    "/v1/reports/stock?scheme=tern-bay&format=csv",
]


@pytest.fixture(scope="module")
def net(shared):
    shared.admin.load(network.worked_reference("on_loan"))
    shared.till = shared.client(shared.create_key("till", "pos", sites=["anchor"]))
    return shared


def get(client, target, **headers):
    return client.send("GET", target, headers={k.replace("_", "-"): v for k, v in headers.items()})


@pytest.mark.parametrize("target", READ_BY_TILLS + READ_BY_THE_OFFICE)
def test_the_same_answer_is_not_sent_again(net, target):
    client = net.till if target in READ_BY_TILLS else net.admin
    first = get(client, target)
    tag = first.headers["ETag"]
    assert first.status == 200 and tag.startswith('"') and tag.endswith('"')
    assert get(client, target).headers["ETag"] == tag
    for value in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = get(client, target, If_None_Match=value)
        assert (again.status, again.body, again.headers["ETag"]) == (304, b"", tag), value
        assert "Content-Type" not in again.headers and "Link" not in again.headers
    for value in ('"other"', tag[:-2] + '"', tag.strip('"')):
        again = get(client, target, If_None_Match=value)
        assert (again.status, again.body) == (200, first.body), value


def test_what_has_changed_is_sent(net):
    before = {target: get(net.till, target).headers["ETag"] for target in READ_BY_TILLS}
    net.admin.put("/v1/cup-types/cup-300", {"name": "Another name", "volume_ml": 300, "mass_g": 48})
    changed = {"/v1/reference", "/v1/cup-types", "/v1/cup-types/cup-300"}
    for target, tag in before.items():
        answer = get(net.till, target, If_None_Match=tag)
        assert answer.status == (200 if target in changed else 304), target
    net.admin.post(event("issue", "anchor", at(WORKED_DAY), issued=cups(cup_300=1)))
    assert get(net.till, "/v1/events", If_None_Match=before["/v1/events"]).status == 200


def test_another_reader_has_another_tag(net):
    """A tag matches nothing for a key that sees something else."""
    assert get(net.till, "/v1/sites", If_None_Match=get(net.admin, "/v1/sites").headers["ETag"]).status == 200


def test_refusals_and_pages_have_none(net):
    refused = get(net.till, "/v1/sites/nowhere", If_None_Match="*")
    assert refused.status == 404 and "ETag" not in refused.headers
    page = get(net.till, "/v1/sites", Accept="text/html", If_None_Match="*")
    assert page.status == 200 and "ETag" not in page.headers


def test_the_head_says_the_same(net):
    till = net.client(net.create_key("head", "pos", sites=["anchor"]), checked=False)  # the document has no HEAD
    tag = get(till, "/v1/sites").headers["ETag"]
    assert till.send("HEAD", "/v1/sites", headers={"If-None-Match": tag}).status == 304
    assert till.send("HEAD", "/v1/sites").headers["ETag"] == tag
