# SPDX-License-Identifier: ISC
"""Proofs, checked as their readers would: by RFC 9162 section 2.1.3.2 written down here over hashlib, and by the README's own
commands, which are taken from the page and run. The algorithm's published vectors are in tests/unit/inclusion_cases.txt."""
import hashlib
import json
import os
import pathlib
import re
import subprocess
from datetime import date, timedelta

import pytest

import network
from model import DAY
from network import at, cups, event

README = pathlib.Path(__file__).parents[2] / "README.md"
FIRST = date.today() - timedelta(days=5)
# How many events each day has, beside the settle entries of its close, one for each site that dealt.
EVENTS = [6, 0, 11, 1]


def sha256(data):
    return hashlib.sha256(data).digest()


def climbs(leaf_hash, index, size, path, root):
    """RFC 9162 section 2.1.3.2, step by step."""
    if index >= size:
        return False
    fn, sn, r = index, size - 1, leaf_hash
    for p in path:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            r = sha256(b"\1" + p + r)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = sha256(b"\1" + r + p)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and r == root


def root_of(hashes):
    """RFC 9162 section 2.1.1."""
    if len(hashes) == 1:
        return hashes[0]
    split = 1 << (len(hashes) - 1).bit_length() - 1
    return sha256(b"\1" + root_of(hashes[:split]) + root_of(hashes[split:]))


@pytest.fixture(scope="module")
def net(shared):
    """Four closed days and an open one of tern-bay; anchor and copper are hearth's, brick is miller's. A reference in more than
    ASCII, to be hashed as UTF-8."""
    shared.admin.load(network.reference(
        [network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}), network.scheme("skerry", FIRST, {"cup-300": "2.00"})],
        {"anchor": ("tern-bay", "hearth"), "copper": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller"),
         "gull": ("skerry", "miller")}))
    shared.posted = []
    for n, count in enumerate(EVENTS):
        events = [event("issue", ("anchor", "brick")[k % 2], at(FIRST + n * DAY), issued=cups(cup_300=1 + k), reference="tür 2/“7”\n")
                  for k in range(count)]
        shared.posted.append(events)
        if events:
            shared.admin.post_many(events)
        shared.admin.close("tern-bay", FIRST + n * DAY)
    shared.open_event = event("issue", "anchor", at(FIRST + len(EVENTS) * DAY), issued=cups(cup_300=1))
    shared.admin.post(shared.open_event)
    shared.auditor = shared.client(shared.create_key("the-auditor", "auditor"))
    shared.till = shared.client(shared.create_key("till", "pos", sites=["anchor"]))
    shared.till_key = f"till:{shared.till.key}"
    shared.hearth = shared.client(shared.create_key("hearth-book", "participant", participant="hearth"))
    return shared


def assert_proves(proof):
    leaf = proof["leaf"].encode()
    assert proof["leaf_hash"] == sha256(b"\0" + leaf).hex()
    path, root = [bytes.fromhex(p) for p in proof["path"]], bytes.fromhex(proof["root"])
    assert climbs(sha256(b"\0" + leaf), proof["index"], proof["entries"], path, root)
    for wrong in ((sha256(leaf), proof["index"], path), (sha256(b"\0" + leaf), proof["index"] + 1, path),
                  (sha256(b"\0" + leaf), proof["index"], path + [root])):
        assert not climbs(wrong[0], wrong[1], proof["entries"], wrong[2], root)
    if "document" in proof:
        assert proof["seal"] == sha256(bytes.fromhex(proof["previous"]) + root + proof["document"].encode()).hex()


def test_every_entry_has_a_proof(net):
    """Of events and of what the closes posted; the leaves of a day, hashed here, give its root, and their text is canonical (RFC 8785: of
    strings and integers, what json.dumps gives with sorted members)."""
    feed = [e for e in net.admin.feed("tern-bay") if e["business_date"] < str(FIRST + len(EVENTS) * DAY)]
    by_day = {}
    for entry in feed:
        proof = net.auditor.get(f"/v1/entries/{entry['entry']}/proof", scheme="tern-bay")
        assert_proves(proof)
        leaf = json.loads(proof["leaf"])
        assert json.dumps(leaf, sort_keys=True, separators=(",", ":"), ensure_ascii=False) == proof["leaf"]
        assert {m: leaf.get(m) for m in ("entry", "business_date", "kind", "legs", "event")} == {
            m: entry.get(m) for m in ("entry", "business_date", "kind", "legs", "event")}
        if "event" in entry:
            assert net.auditor.get(f"/v1/events/{entry['event']['event_id']}/proof") == proof
        by_day.setdefault(entry["business_date"], []).append(proof)
    assert [len(by_day.get(str(FIRST + n * DAY), ())) for n in range(len(EVENTS))] == [8, 0, 13, 2]
    for day, proofs in by_day.items():
        settlement = net.admin.get(f"/v1/settlements/tern-bay/{day}")
        assert [p["index"] for p in proofs] == list(range(len(proofs)))
        assert root_of([bytes.fromhex(p["leaf_hash"]) for p in proofs]).hex() == settlement["seal"]["root"]
        for proof in proofs:
            assert {m: proof[m] for m in ("entries", "root", "previous", "seal")} == settlement["seal"]
            document = json.loads(proof["document"])
            assert document["positions"] == [{m: p[m] for m in ("participant", "amount", "carried_forward")}
                                             for p in settlement["positions"]]
            assert {(p["payment_id"], p["amount"]) for p in document["payments"]} == {
                (p["payment_id"], p["amount"]) for p in settlement["payments"]}


def test_seals_are_a_chain(net):
    seals = net.auditor.items("/v1/seals", scheme="tern-bay", limit=3)
    assert [s["date"] for s in seals] == [str(FIRST + n * DAY) for n in range(len(EVENTS))]
    assert [s["previous"] for s in seals] == ["00" * 32] + [s["seal"] for s in seals[:-1]]
    for seal in seals:
        settlement = net.admin.get(seal["settlement"])
        assert settlement["seal"] == {m: seal[m] for m in ("entries", "root", "previous", "seal")}
        assert settlement["closed_at"] == seal["closed_at"]
    assert net.auditor.items("/v1/seals", scheme="skerry") == []


def test_own_proofs_say_nothing_of_others(net):
    """A till and a participant prove what is theirs, and see nobody's figures but their own."""
    own, others = net.posted[0][0]["event_id"], net.posted[0][1]["event_id"]
    whole = net.auditor.get(f"/v1/events/{own}/proof")
    for client in (net.till, net.hearth):
        proof = client.get(f"/v1/events/{own}/proof")
        assert_proves(proof)
        assert proof == {m: v for m, v in whole.items() if m != "document"}
        client.refused("GET", f"/v1/events/{others}/proof", None, 404, "not_found")
        settled = [e for e in client.items("/v1/events", scheme="tern-bay", kind="settle") if e["business_date"] == str(FIRST)]
        for entry in settled:
            assert_proves(client.get(f"/v1/entries/{entry['entry']}/proof", scheme="tern-bay"))
    other_entry = next(e["entry"] for e in net.admin.feed("tern-bay") if e.get("event", {}).get("event_id") == others)
    net.till.refused("GET", f"/v1/entries/{other_entry}/proof?scheme=tern-bay", None, 404, "not_found")
    net.hearth.refused("GET", "/v1/entries/1/proof?scheme=skerry", None, 404, "not_found")
    for client in (net.till, net.hearth):
        client.refused("GET", "/v1/seals?scheme=tern-bay", None, 403, "role_not_allowed")


def test_no_proof_where_there_is_none(net):
    answer = net.admin.refused("GET", f"/v1/events/{net.open_event['event_id']}/proof", None, 409, "day_not_sealed")
    assert answer.json["retryable"] is True
    assert "proof" not in net.admin.get(f"/v1/events/{net.open_event['event_id']}")
    for path in ("/v1/events/00000000-0000-4000-8000-000000000000/proof", "/v1/events/x/proof", "/v1/entries/0/proof?scheme=tern-bay",
                 "/v1/entries/999/proof?scheme=tern-bay", "/v1/entries/-1/proof?scheme=tern-bay", "/v1/entries/1x/proof?scheme=tern-bay",
                 "/v1/entries/99999999999999999999/proof?scheme=tern-bay", "/v1/entries/1/proof?scheme=nowhere"):
        net.admin.refused("GET", path, None, 404, "not_found")
    net.admin.refused("GET", "/v1/entries/1/proof", None, 422, "parameter_missing")


def test_events_link_to_their_proof(net):
    proof = net.admin.get(f"/v1/events/{net.posted[2][3]['event_id']}")["proof"]
    assert_proves(net.admin.send("GET", proof).json)


def test_an_id_of_two_schemes(net):
    shared_id = {**event("issue", "gull", at(FIRST), issued=cups(cup_300=1)), "event_id": net.posted[0][0]["event_id"]}
    net.admin.post(shared_id)
    net.admin.refused("GET", f"/v1/events/{shared_id['event_id']}/proof", None, 422, "parameter_missing")
    assert_proves(net.admin.get(f"/v1/events/{shared_id['event_id']}/proof", scheme="tern-bay"))
    net.admin.refused("GET", f"/v1/events/{shared_id['event_id']}/proof?scheme=skerry", None, 409, "day_not_sealed")
    assert_proves(net.till.get(f"/v1/events/{shared_id['event_id']}/proof"))


@pytest.mark.parametrize("statement, undo", [
    ("UPDATE entry SET amounts[1] = amounts[1] + 1 WHERE (scheme, entry) = (1, 2)", "UPDATE entry SET amounts[1] = amounts[1] - 1 WHERE (scheme, entry) = (1, 2)"),
    ("UPDATE entry SET accounts[1] = accounts[1] + 1 WHERE (scheme, entry) = (1, 2)", "UPDATE entry SET accounts[1] = accounts[1] - 1 WHERE (scheme, entry) = (1, 2)"),
    ("UPDATE entry SET hash = set_byte(hash, 9, get_byte(hash, 9) # 1) WHERE (scheme, entry) = (1, 5)",) * 2,
    ("UPDATE position SET amount = amount # 1 WHERE scheme = 1", "UPDATE position SET amount = amount # 1 WHERE scheme = 1"),
    ("UPDATE settlement SET root = set_byte(root, 9, get_byte(root, 9) # 1) WHERE scheme = 1",) * 2,
])
def test_a_proof_that_does_not_hold_is_not_given(net, statement, undo):
    """Another entry's hash, a leg, an account, a figure of the document, the root: changed by a superuser."""
    path = f"/v1/entries/2/proof?scheme=tern-bay"
    net.database.run(f"SET session_replication_role = replica; {statement}")
    net.admin.refused("GET", path, None, 500, "seal_broken")
    net.database.run(f"SET session_replication_role = replica; {undo}")
    assert_proves(net.admin.send("GET", path).json)


# --- the page ------------------------------------------------------------------------------------------------------

def page_blocks():
    """The commands of the README's section, block by block; the last but what follows it is the operator's."""
    section = re.search(r"^## Checking a proof with standard tools\n(.*?)^## ", README.read_text(), re.M | re.S).group(1)
    blocks = re.findall(r"(?:^    .*\n(?:\n(?=    ))?)+", section, re.M)
    assert len(blocks) == 4 and blocks[3].strip() == "depositd verify"
    return [re.sub("^    ", "", block, flags=re.M) for block in blocks[:3]]


def shell(net, folder, key, *blocks):
    environment = {"PATH": os.environ["PATH"], "key": key, "api": f"http://127.0.0.1:{net.port}/v1"}
    done = subprocess.run(["bash", "-euo", "pipefail", "-c", "\n".join(blocks)], cwd=folder, env=environment, capture_output=True,
                          text=True, timeout=60)
    assert done.returncode == 0 and not done.stderr, (done.stdout, done.stderr)
    return done.stdout.splitlines()


def test_the_page_works_as_written(net, tmp_path):
    get, climb, audit = page_blocks()
    day, last = FIRST + (len(EVENTS) - 1) * DAY, net.auditor.items("/v1/seals", scheme="tern-bay")[-1]["seal"]
    under_root = f"the entry is under the root of {day}"
    assert shell(net, tmp_path, f"the-auditor:{net.auditor.key}", get, climb, audit) == [
        under_root, f"the root is under the seal of {day}", f"the chain ends with {last}"]
    proof = json.loads((tmp_path / "proof.json").read_text())
    assert json.loads(proof["leaf"])["event"]["event_id"] == net.posted[3][0]["event_id"]
    # A participant's key goes the same way, up to the root.
    assert shell(net, tmp_path, f"hearth-book:{net.hearth.key}", get, climb) == [under_root]


def test_the_page_climbs_from_every_leaf(net, tmp_path):
    """Each place in the tree of 13 leaves; and no doctored proof gets to the root."""
    _, climb, _ = page_blocks()
    for entry in net.admin.feed("tern-bay"):
        if entry["business_date"] != str(FIRST + 2 * DAY):
            continue
        proof = net.admin.get(f"/v1/entries/{entry['entry']}/proof", scheme="tern-bay")
        doctored = [{**proof, "leaf": proof["leaf"].replace("tern-bay", "fern-bay")},
                    {**proof, "index": (proof["index"] + 1) % proof["entries"]}, {**proof, "path": proof["path"][1:]},
                    {**proof, "path": proof["path"] + [proof["root"]]}]
        for candidate in [proof, *doctored[:4 if entry["kind"] == "settle" else 1]]:
            (tmp_path / "proof.json").write_text(json.dumps(candidate))
            said = shell(net, tmp_path, "", "day=it", climb)
            assert said == (["the entry is under the root of it"] if candidate is proof else []), (entry, candidate)
