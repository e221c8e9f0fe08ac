# SPDX-License-Identifier: ISC
"""Sends random requests made from the document: right requests, nearly right requests and nonsense, with every kind of
key. contract.py checks each answer: its status, type, body and headers, and that the operation lists the reason of a
refusal.

DEPOSITD_REQUESTS_SEED repeats a run, DEPOSITD_REQUESTS makes it longer."""
import copy
import itertools
import json
import os
import random
from urllib.parse import quote

import pytest

import examples
from harness import Client
from test_document import operations

COUNT = int(os.environ.get("DEPOSITD_REQUESTS", "1500"))
JUNK = [
    None,
    True,
    0,
    -1,
    1,
    3,
    10**9,
    2**63,
    0.5,
    "",
    "x",
    "é" * 3,
    "a" * 300,
    "2.50",
    "-2.50",
    "0.001",
    "12345678901234567.00",
    "2025-05-12",
    "2025-13-40",
    "2025-05-12T10:00:00-02:30",
    "2099-01-01T00:00:00Z",
    "cup-300",
    "cup-none",
    "anchor",
    "brick",
    "nowhere",
    "tern-bay",
    "hearth",
    "pool",
    "bank",
    "tax",
    "site_stock(anchor,cup-300)",
    "issue",
    "journal",
    "opening",
    "damaged",
    [],
    {},
    [1],
]
WORDS = [word for word in JUNK if isinstance(word, str)]
OF_NAME = {
    "scheme": ["tern-bay"],
    "schemes": ["all", "tern-bay"],
    "site": ["anchor", "brick", "dock"],
    "participant": ["hearth", "miller", "quay"],
    "cup_type": ["cup-300", "cup-450"],
    "date": ["2025-05-12", "2025-05-13", "2025-05-14"],
    "limit": ["1", "2", "1000"],
    "effective_date": ["2025-05-12", "2030-01-01"],
    "entry": ["1", "2", "9", "999"],
    "name": ["spare", "nobody"],
    "report": ["deposit-cover", "stock", "exceptions", "journal", "nothing"],
    "format": ["json", "csv", "html"],
    "dry_run": ["true", "false"],
    "open": ["true"],
    "held": ["true"],
    "kind": ["issue", "settle"],
    "cursor": ["1", "0", "9223372036854775807", "tern-bay"],
}


class Requests:
    def __init__(self, document, seen, chance):
        self.operations, self.chance = operations(document), chance
        self.bodies = [e["request"]["body"] for of_one in seen.values() for e in of_one if "request" in e]
        self.seen = {name: [e["request"]["body"] for e in of_one if "request" in e] for name, of_one in seen.items()}
        # ids that the scenario has made, by the name of the parameter
        self.known = {name: list(values) for name, values in OF_NAME.items()}
        for _, operation in self.operations:
            for parameter in operation["parameters"]:
                if "example" in parameter:
                    self.known.setdefault(parameter["name"], []).append(str(parameter["example"]))

    def value(self, name):
        known = self.known.get(name, [])
        return self.chance.choice(known if known and self.chance.random() < 0.85 else WORDS)

    def target(self, path, operation):
        for parameter in operation["parameters"]:
            if parameter["in"] == "path":
                path = path.replace("{%s}" % parameter["name"], quote(self.value(parameter["name"]) or "-", safe=""))
        query = [
            (p["name"], self.value(p["name"]))
            for p in operation["parameters"]
            if p["in"] == "query" and self.chance.random() < (0.95 if p.get("required") else 0.25)
        ]
        if self.chance.random() < 0.05:
            query.append((self.chance.choice(["colour", "scheme", "limit"]), self.chance.choice(WORDS)))
        return path + ("?" + "&".join(f"{n}={quote(v, safe='')}" for n, v in query) if query else "")

    def places(self, value, place=()):
        yield place
        for key, inner in (
            value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        ):
            yield from self.places(inner, place + (key,))

    def mutate(self, body):
        *way, last = self.chance.choice([p for p in self.places(body) if p] or [("",)])
        node = body
        for key in way:
            node = node[key]
        if not isinstance(node, (dict, list)) or last == "":
            return self.chance.choice(JUNK)
        what = self.chance.random()
        if what < 0.25:
            del node[last]
        elif what < 0.35 and isinstance(node, dict):
            node[self.chance.choice(["colour", "scheme", "site", "amount", "to"])] = self.chance.choice(JUNK)
        elif what < 0.45 and isinstance(node, list):
            node.append(copy.deepcopy(node[last]))
        else:
            node[last] = self.chance.choice(JUNK)
        return body

    def body(self, operation):
        """Bytes and their type; None, None: none."""
        own = self.seen.get(operation["operationId"], [])
        if not operation.get("requestBody") or self.chance.random() < 0.03:
            return (None, None) if self.chance.random() < 0.97 else (b"{}", "application/json")
        body = copy.deepcopy(self.chance.choice(own if own and self.chance.random() < 0.95 else self.bodies))
        types = list(operation["requestBody"]["content"])
        if isinstance(body, str):
            if self.chance.random() < 0.5:
                cut = self.chance.randrange(len(body))
                body = (
                    body[:cut] + self.chance.choice(["", "<", "é", "{}", "\n"]) + body[cut + self.chance.randrange(3) :]
                )
            return body.encode(), types[-1] if len(types) > 1 else types[0]
        for _ in range(self.chance.choice([0, 1, 1, 2])):
            body = self.mutate(body)
        text = json.dumps(body).encode()
        if self.chance.random() < 0.02:
            text = text[: self.chance.randrange(len(text) + 1)]
        return text, "text/plain" if self.chance.random() < 0.02 else types[0]

    def one(self):
        posts = [pair for pair in self.operations if pair[0] == "POST /v1/events"]  # which can be refused in most ways
        where, operation = self.chance.choice(self.operations if self.chance.random() < 0.8 else posts)
        method, _, path = where.partition(" ")
        body, type = self.body(operation)
        headers = {"Content-Type": type} if type else {}
        if self.chance.random() < 0.1:
            headers["Accept"] = self.chance.choice(
                ["text/html", "application/json", "text/csv", "image/png", "*/*;q=0.1"]
            )
        if self.chance.random() < 0.1:
            headers[self.chance.choice(["If-Match", "If-None-Match"])] = self.chance.choice(['"x"', "*", "W/"])
        if self.chance.random() < 0.02:
            headers["Sec-Fetch-Site"] = "cross-site"
        if self.chance.random() < 0.01:
            headers["Content-Encoding"] = "gzip"
        return method, self.target(path, operation), body, headers


@pytest.fixture(scope="module")
def clients(shared):
    """A network with a history, and a key of each role."""
    seen = examples.play(shared)
    keys = {
        "till": ("pos", {"sites": ["brick"]}),
        "owner": ("participant", {"participant": "hearth"}),
        "spare": ("admin", {}),
        "eve": ("auditor", {}),
        "fay": ("accountant", {}),
    }
    made = [shared.client(shared.create_key(name, role, **bound)) for name, (role, bound) in keys.items()]
    return seen, [shared.admin, shared.admin, *made, Client(shared), shared.client("of-nobody")]


def test_no_answer_is_one_that_the_document_does_not_have(shared, clients):
    seed = int(os.environ.get("DEPOSITD_REQUESTS_SEED") or random.SystemRandom().randrange(10**9))
    print(f"DEPOSITD_REQUESTS_SEED={seed}")
    seen, chance = clients[0], random.Random(seed)
    requests, statuses, reasons = Requests(Client(shared).get("/openapi.json"), seen, chance), {}, set()
    # Long enough for each kind of answer to occur, or the test would say little.
    wanted = {200, 201, 401, 403, 404, 409, 422}
    for done in itertools.count():
        if done >= COUNT and (wanted <= set(statuses) and len(reasons) > 20 or done >= 20 * COUNT):
            break
        method, target, body, headers = requests.one()
        client = chance.choice(clients[1])
        answer = client.send(method, target, body, headers)
        assert answer.status < 500, f"seed {seed}: {method} {target} {body}: {answer.status} {answer.body[:600]}"
        if target.startswith("/v1/me/renew") and answer.status == 200:
            client.key = answer.json.get("key", client.key)  # or no key would be left in the end
        statuses[answer.status] = statuses.get(answer.status, 0) + 1
        if answer.headers.get("Content-Type") == "application/problem+json":
            reasons |= set(answer.reasons)
    assert wanted <= set(statuses), f"seed {seed}: {statuses}"
    assert len(reasons) > 20, f"seed {seed}: {sorted(reasons)}"


def test_no_cursor_is_too_far(shared, clients):
    """Numbers, of which lists may make dates and times that there are not."""
    _, (admin, *_) = clients
    lists = [
        (where, {p["name"]: p for p in operation["parameters"]})
        for where, operation in operations(Client(shared).get("/openapi.json"))
        if any(p["name"] == "cursor" for p in operation["parameters"])
    ]
    assert len(lists) > 10
    for where, parameters in lists:
        _, _, path = where.partition(" ")
        for name, parameter in parameters.items():
            path = path.replace("{%s}" % name, OF_NAME.get(name, [str(parameter.get("example"))])[0])
        query = "".join(
            f"&{n}={OF_NAME[n][0]}" for n, p in parameters.items() if p["in"] == "query" and p.get("required")
        )
        for cursor in (0, 1, 13, 14, 120012, 120013, 10**9, 2**31, 2**63 - 1):
            for order in ("&order=newest", "&order=newest&cursor=back/", "") if "order" in parameters else ("",):
                sent = order if "cursor" in order else order + "&cursor="
                target = f"{path}?{query}{sent}{cursor}".replace("?&", "?")
                answer = admin.send("GET", target)
                assert answer.status in (200, 422), (target, answer.body)
