# SPDX-License-Identifier: ISC
"""Checks proofs as their readers would: by RFC 9162 section 2.1.3.2, written here over hashlib, and by
deploy/check-proof. The algorithm's published vectors are in tests/unit/inclusion_cases.txt."""
import hashlib
import http.server
import json
import os
import pathlib
import re
import socket
import subprocess
import threading
from datetime import date, timedelta

import pytest

import network
from model import DAY
from network import at, cups, event

TOP = pathlib.Path(__file__).parents[2]
FIRST = date.today() - timedelta(days=5)
# The number of events of each day. The close adds a settle entry for each site that traded.
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
    """Four closed days and an open day of tern-bay; anchor and copper are hearth's, brick is miller's. A reference is
    not ASCII, to be hashed as UTF-8."""
    shared.admin.load(
        network.reference(
            [
                network.scheme("tern-bay", FIRST, {"cup-300": "2.50"}),
                network.scheme("skerry", FIRST, {"cup-300": "2.00"}),
            ],
            {
                "anchor": ("tern-bay", "hearth"),
                "copper": ("tern-bay", "hearth"),
                "brick": ("tern-bay", "miller"),
                "gull": ("skerry", "miller"),
            },
        )
    )
    shared.posted = []
    for n, count in enumerate(EVENTS):
        events = [
            event(
                "issue",
                ("anchor", "brick")[k % 2],
                at(FIRST + n * DAY),
                issued=cups(cup_300=1 + k),
                reference="tür 2/“7”\n",
            )
            for k in range(count)
        ]
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
    for wrong in (
        (sha256(leaf), proof["index"], path),
        (sha256(b"\0" + leaf), proof["index"] + 1, path),
        (sha256(b"\0" + leaf), proof["index"], path + [root]),
    ):
        assert not climbs(wrong[0], wrong[1], proof["entries"], wrong[2], root)
    if "document" in proof:
        assert proof["seal"] == sha256(bytes.fromhex(proof["previous"]) + root + proof["document"].encode()).hex()


def test_every_entry_has_a_proof(net):
    """Tests events and entries of closes. The leaves of a day, hashed here, give its root. Their text is canonical
    (RFC 8785: for strings and integers, the output of json.dumps with sorted members)."""
    feed = [e for e in net.admin.feed("tern-bay") if e["business_date"] < str(FIRST + len(EVENTS) * DAY)]
    by_day = {}
    for entry in feed:
        proof = net.auditor.get(f"/v1/entries/{entry['entry']}/proof", scheme="tern-bay")
        assert_proves(proof)
        leaf = json.loads(proof["leaf"])
        assert json.dumps(leaf, sort_keys=True, separators=(",", ":"), ensure_ascii=False) == proof["leaf"]
        assert {m: leaf.get(m) for m in ("entry", "business_date", "kind", "legs", "event")} == {
            m: entry.get(m) for m in ("entry", "business_date", "kind", "legs", "event")
        }
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
            assert document["positions"] == [
                {m: p[m] for m in ("participant", "amount", "carried_forward")} for p in settlement["positions"]
            ]
            assert {(p["payment_id"], p["amount"]) for p in document["payments"]} == {
                (p["payment_id"], p["amount"]) for p in settlement["payments"]
            }


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
    """A till and a participant prove their own entries, and see no figures of others."""
    own, others = net.posted[0][0]["event_id"], net.posted[0][1]["event_id"]
    whole = net.auditor.get(f"/v1/events/{own}/proof")
    for client in (net.till, net.hearth):
        proof = client.get(f"/v1/events/{own}/proof")
        assert_proves(proof)
        assert proof == {m: v for m, v in whole.items() if m != "document"}
        client.refused("GET", f"/v1/events/{others}/proof", None, 404, "not_found")
        settled = [
            e for e in client.items("/v1/events", scheme="tern-bay", kind="settle") if e["business_date"] == str(FIRST)
        ]
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
    for path in (
        "/v1/events/00000000-0000-4000-8000-000000000000/proof",
        "/v1/events/x/proof",
        "/v1/entries/0/proof?scheme=tern-bay",
        "/v1/entries/999/proof?scheme=tern-bay",
        "/v1/entries/-1/proof?scheme=tern-bay",
        "/v1/entries/1x/proof?scheme=tern-bay",
        "/v1/entries/99999999999999999999/proof?scheme=tern-bay",
        "/v1/entries/1/proof?scheme=nowhere",
    ):
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


@pytest.mark.parametrize(
    "statement, undo",
    [
        (
            "UPDATE entry SET amounts[1] = amounts[1] + 1 WHERE (scheme, entry) = (1, 2)",
            "UPDATE entry SET amounts[1] = amounts[1] - 1 WHERE (scheme, entry) = (1, 2)",
        ),
        (
            "UPDATE entry SET accounts[1] = accounts[1] + 1 WHERE (scheme, entry) = (1, 2)",
            "UPDATE entry SET accounts[1] = accounts[1] - 1 WHERE (scheme, entry) = (1, 2)",
        ),
        ("UPDATE entry SET hash = set_byte(hash, 9, get_byte(hash, 9) # 1) WHERE (scheme, entry) = (1, 5)",) * 2,
        (
            "UPDATE position SET amount = amount # 1 WHERE scheme = 1",
            "UPDATE position SET amount = amount # 1 WHERE scheme = 1",
        ),
        ("UPDATE settlement SET root = set_byte(root, 9, get_byte(root, 9) # 1) WHERE scheme = 1",) * 2,
    ],
)
def test_a_proof_that_does_not_hold_is_not_given(net, statement, undo):
    """A superuser changes another entry's hash, a leg, an account, a figure of the document, or the root."""
    path = "/v1/entries/2/proof?scheme=tern-bay"
    net.database.run(f"SET session_replication_role = replica; {statement}")
    net.admin.refused("GET", path, None, 500, "seal_broken")
    net.database.run(f"SET session_replication_role = replica; {undo}")
    assert_proves(net.admin.send("GET", path).json)


# --- deploy/check-proof ----------------------------------------------------------------------------------------------

ROLES = ("pos", "participant", "auditor", "accountant", "admin")
# The sentences of the steps of a check. A till cannot check the things that only the office may read.
IN_TREE, SEALED, SETTLED, CHAINED = (
    "The entry is in the books of that day",
    "The seal is right",
    "settlement of that day shows the same root and seal",
    "an unbroken chain of 4",
)
PROVES = {
    "pos": {IN_TREE},
    "participant": {IN_TREE, SETTLED},
    **dict.fromkeys(ROLES[2:], {IN_TREE, SEALED, SETTLED, CHAINED}),
}


@pytest.fixture(scope="module")
def keys(net):
    """A key of each role. All of them may read the events that anchor posted."""
    return {
        "pos": net.till_key,
        "participant": f"hearth-book:{net.hearth.key}",
        "auditor": f"the-auditor:{net.auditor.key}",
        "accountant": f"the-office:{net.create_key('the-office', 'accountant')}",
        "admin": f"first-admin:{net.admin_key}",
    }


def run(command, key="", api="", folder=None):
    environment = {"PATH": os.environ["PATH"], "key": key, "api": api}
    return subprocess.run(command, cwd=folder or TOP, env=environment, capture_output=True, text=True, timeout=600)


def check(*arguments, key="", api="", folder=None):
    return run([TOP / "deploy/check-proof", *arguments], key, api, folder)


class Liar:
    """Stands between the script and the service, and changes the service's answers: `lies` {part of a path: function
    of the JSON}."""

    def __init__(self, net):
        liar = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_GET(self):
                answer = net.client(checked=False).send(
                    "GET", self.path, headers={"Authorization": self.headers["Authorization"]}
                )
                body = answer.body
                for part, lie in liar.lies.items():
                    if part in self.path and answer.status == 200:
                        body = json.dumps(lie(json.loads(body))).encode()
                status = 403 if liar.hidden and liar.hidden in self.path else answer.status
                liar.answered.append(status)
                self.send_response(status)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_):
                pass

        self.lies, self.hidden, self.answered = {}, None, []
        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.api = f"http://127.0.0.1:{self.server.server_port}/v1"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


@pytest.fixture(scope="module")
def liar(net):
    liar = Liar(net)
    yield liar
    liar.server.shutdown()
    liar.server.server_close()


@pytest.fixture
def api(net):
    return f"http://127.0.0.1:{net.port}/v1"


def test_every_role_is_tried(net):
    """A new role needs its line in the script."""
    assert set(ROLES) == set(net.contract.document["components"]["schemas"]["Role"]["enum"])


@pytest.mark.parametrize("role", ROLES)
def test_each_role_checks_what_it_may_read(net, keys, api, role):
    posted, seal = net.posted[0][0], net.admin.items("/v1/seals", scheme="tern-bay")[0]["seal"]
    done = check("--scheme", "tern-bay", posted["event_id"], key=keys[role], api=api)
    assert done.returncode == 0 and not done.stderr, (done.stdout, done.stderr)
    assert posted["event_id"] in done.stdout and f"The seal of tern-bay on {FIRST} is {seal}" in done.stdout
    assert ("The proof holds, as far as this key can see." in done.stdout) == (role in ("pos", "participant"))
    assert {step for step in (IN_TREE, SEALED, SETTLED, CHAINED) if step in done.stdout} == PROVES[role]
    assert len(re.findall(r"^\d\. Not checked\. A \S+ key may not read ", done.stdout, re.M)) == 4 - len(PROVES[role])


@pytest.mark.parametrize("role", ROLES)
def test_it_asks_only_for_what_the_role_may_read(net, keys, liar, role):
    liar.lies, liar.answered = {}, []
    assert check(net.posted[2][2]["event_id"], key=keys[role], api=liar.api).returncode == 0
    assert len(liar.answered) == {"pos": 2, "participant": 3}.get(role, 4) and set(liar.answered) == {200}


@pytest.mark.parametrize("part", ["/v1/seals", "/v1/settlements/"])
def test_a_service_that_hides_something_is_not_believed(net, keys, liar, part):
    """An auditor may read both, whatever the service claims."""
    liar.lies, liar.hidden = {}, part
    done = check(net.posted[2][2]["event_id"], key=keys["auditor"], api=liar.api)
    liar.hidden = None
    assert done.returncode == 1 and "the service hides" in done.stdout, (done.stdout, done.stderr)


def test_it_shows_what_was_posted(net, keys, api):
    posted = net.posted[2][2]
    done = check(posted["event_id"].upper(), key=keys["pos"], api=api)
    said = json.loads(re.search("^  event  (.*)$", done.stdout, re.M).group(1))
    assert {m: said[m] for m in ("event_id", "kind", "site", "issued", "reference")} == {
        m: posted[m] for m in ("event_id", "kind", "site", "issued", "reference")
    }
    assert len(re.findall("^  leg ", done.stdout, re.M)) == len(
        net.admin.get(f"/v1/events/{posted['event_id']}")["legs"]
    )


def test_it_climbs_from_every_leaf(net, tmp_path):
    """Each place in the tree of 13 leaves, from a file, without the service. No doctored proof gets to the root."""
    feed = [e for e in net.admin.feed("tern-bay") if e["business_date"] == str(FIRST + 2 * DAY)]
    assert len(feed) == 13
    for entry in feed:
        proof = net.admin.get(f"/v1/entries/{entry['entry']}/proof", scheme="tern-bay")
        (tmp_path / "proof.json").write_text(json.dumps(proof))
        done = check("proof.json", "--seal", proof["seal"], folder=tmp_path)
        assert done.returncode == 0 and IN_TREE in done.stdout and SEALED in done.stdout, (
            entry,
            done.stdout,
            done.stderr,
        )
    assert check("proof.json", "--seal", "0" * 64, folder=tmp_path).returncode == 1


def flipped(hash):
    return hash[:9] + ("0" if hash[9] != "0" else "1") + hash[10:]


DOCTORED = {  # things that a lying service might send in place of a proof
    "an amount": lambda p: {**p, "leaf": p["leaf"].replace('"amount":"', '"amount":"1', 1)},
    "a blank": lambda p: {**p, "leaf": p["leaf"] + " "},
    "two leaves": lambda p: {**p, "leaf": p["leaf"] + p["leaf"]},
    "no leaf": lambda p: {m: v for m, v in p.items() if m != "leaf"},
    "the place": lambda p: {**p, "index": p["index"] ^ 1},
    "beyond the tree": lambda p: {**p, "index": p["entries"]},
    "the size": lambda p: {**p, "entries": 2 * p["entries"]},
    "a size of 0": lambda p: {**p, "entries": 0},
    "shorter": lambda p: {**p, "path": p["path"][:-1]},
    "without its first": lambda p: {**p, "path": p["path"][1:]},
    "longer": lambda p: {**p, "path": [*p["path"], p["root"]]},
    "turned round": lambda p: {**p, "path": p["path"][::-1]},
    "another hash": lambda p: {**p, "path": [flipped(p["path"][0]), *p["path"][1:]]},
    "no path": lambda p: {**p, "path": {}},
    "the root": lambda p: {**p, "root": flipped(p["root"])},
    "no hash": lambda p: {**p, "root": p["root"].upper()},
    "the day": lambda p: {**p, "business_date": str(FIRST + DAY)},
    "the entry": lambda p: {**p, "entry": p["entry"] + 1},
    "the scheme": lambda p: {**p, "scheme": "skerry"},
    "a command": lambda p: {**p, "index": "a[$(touch hacked)]", "entries": "a[$(touch hacked)]"},
    "a command in the path": lambda p: {**p, "path": ["$(touch hacked)", *p["path"][1:]]},
    "nothing": lambda p: {},
    "no object": lambda p: [p],
}
DOCTORED_SEAL = {
    "the seal": lambda p: {**p, "seal": flipped(p["seal"])},
    "the seal before": lambda p: {**p, "previous": flipped(p["previous"])},
    "the document": lambda p: {**p, "document": p["document"].replace('"amount":"', '"amount":"1', 1)},
    "no document": lambda p: {**{m: v for m, v in p.items() if m != "document"}, "seal": flipped(p["seal"])},
}


@pytest.mark.parametrize("what", DOCTORED)
def test_a_doctored_proof_does_not_hold(net, keys, liar, tmp_path, what):
    liar.lies = {"/proof": DOCTORED[what]}
    done = check(net.posted[2][2]["event_id"], key=keys["pos"], api=liar.api, folder=tmp_path)
    assert done.returncode == 1 and "DOES NOT HOLD" in done.stdout and "The proof holds" not in done.stdout, (
        done.stdout,
        done.stderr,
    )
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("what", DOCTORED_SEAL)
def test_a_doctored_seal_does_not_hold(net, keys, liar, what):
    liar.lies = {"/proof": DOCTORED_SEAL[what]}
    done = check(net.posted[2][2]["event_id"], key=keys["auditor"], api=liar.api)
    assert done.returncode == 1 and "DOES NOT HOLD" in done.stdout, (done.stdout, done.stderr)


def test_a_proof_of_something_else_does_not_hold(net, keys, liar):
    """The proof is sound, but is of another event than the script asked for."""
    other = net.admin.get(f"/v1/events/{net.posted[2][4]['event_id']}/proof")
    liar.lies = {"/proof": lambda proof: other}
    done = check(net.posted[2][2]["event_id"], key=keys["auditor"], api=liar.api)
    assert done.returncode == 1 and "another event" in done.stdout


def without(at):
    return lambda seals: {**seals, "items": [s for n, s in enumerate(seals["items"]) if n != at]}


def changed(at, **members):
    return lambda seals: {
        **seals,
        "items": [{**s, **(members if n == at else {})} for n, s in enumerate(seals["items"])],
    }


@pytest.mark.parametrize(
    "lie",
    [
        without(0),
        without(1),
        without(2),
        changed(0, previous="1" * 64),
        changed(3, previous="1" * 64),
        changed(2, seal="1" * 64),
        changed(2, root="1" * 64),
        changed(2, entries=12),
        changed(3, date=str(FIRST)),
        lambda seals: {"items": []},
        lambda seals: {},
    ],
)
def test_a_chain_with_a_break_does_not_hold(net, keys, liar, lie):
    liar.lies = {"/v1/seals": lie}
    done = check(net.posted[2][2]["event_id"], key=keys["auditor"], api=liar.api)
    assert done.returncode == 1 and "DOES NOT HOLD" in done.stdout, (done.stdout, done.stderr)


def test_a_settlement_that_shows_something_else(net, keys, liar):
    for member in ("root", "seal"):
        liar.lies = {
            "/v1/settlements/": lambda settlement: {**settlement, "seal": {**settlement["seal"], member: "1" * 64}}
        }
        done = check(net.posted[2][2]["event_id"], key=keys["participant"], api=liar.api)
        assert done.returncode == 1 and "another root or seal" in done.stdout


def test_another_seal_than_the_one_that_is_held(net, keys, api):
    """A holder of a till's key compares the seal that the operator published, and so notices other books."""
    event_id, seals = net.posted[2][2]["event_id"], net.auditor.items("/v1/seals", scheme="tern-bay")
    for number, status in ((1, 1), (2, 0)):
        assert check("--seal", seals[number]["seal"], event_id, key=keys["pos"], api=api).returncode == status


def test_the_chain_page_by_page(net, keys, liar):
    """The proxy acts as if a page had two seals at most. The script asks for the first page without a cursor."""
    first = net.auditor.get("/v1/seals", scheme="tern-bay", limit=2)
    assert len(first["items"]) == 2 and first["next"]
    liar.lies = {"/v1/seals": lambda seals: first if len(seals["items"]) == 4 else seals}
    done = check(net.posted[2][2]["event_id"], key=keys["auditor"], api=liar.api)
    assert done.returncode == 0 and CHAINED in done.stdout, (done.stdout, done.stderr)


def test_what_can_not_be_checked_is_not_said_to_hold(net, keys, api, tmp_path):
    event_id = net.posted[2][2]["event_id"]
    nobody = socket.socket()  # has the port but does not listen, so no other process does
    nobody.bind(("127.0.0.1", 0))
    closed = nobody.getsockname()[1]
    for arguments, key, base in (
        ([net.open_event["event_id"]], keys["pos"], api),
        ([net.posted[2][1]["event_id"]], keys["pos"], api),
        (["00000000-0000-4000-8000-000000000000"], keys["admin"], api),
        ([event_id], "till:wrong", api),
        ([event_id], "", api),
        ([event_id], keys["pos"], ""),
        ([event_id], keys["pos"], f"http://127.0.0.1:{closed}/v1"),
        ([], keys["pos"], api),
        (["--seal"], keys["pos"], api),
        (["--unknown", event_id], keys["pos"], api),
        ([event_id, event_id], keys["pos"], api),
        (["../me"], keys["pos"], api),
    ):
        done = check(*arguments, key=key, api=base, folder=tmp_path)
        assert done.returncode == 2 and done.stderr and "The proof holds" not in done.stdout, (
            arguments,
            done.stdout,
            done.stderr,
        )
    (tmp_path / "empty.json").write_text("")
    assert check("empty.json", folder=tmp_path).returncode == 1
    assert check("--help").returncode == 0
