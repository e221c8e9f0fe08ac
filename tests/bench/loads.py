# SPDX-License-Identifier: ISC
"""Loads of reference data: many sites, many schemes, and sites while others post. The baseline of the first is one
client of PostgreSQL that does nothing but copy the same rows, those of the sites and of their recorded changes, into
the ledger's tables; their guards are off."""
import io
import json
import threading
import time
from contextlib import contextmanager

import network
import psycopg2
from harness import Database, new_service

SITES, SCHEMES, PARTICIPANTS = 3000, 700, 1000
CUPS = {"cup-300": "2.50", "cup-450": "3.50"}
ROWS = {"site": "SELECT * FROM site", "reference_change": "SELECT * FROM reference_change WHERE of_what = 'site'"}


def schemes(count, first_day):
    return [network.scheme(f"bay-{n}", first_day, CUPS, terms=[{"service_fee": "0.10"}]) for n in range(count)]


def sites(count, prefix, of_schemes, participants):
    """Rows as a network has them: with a position, and the stock that they should have."""
    where = {
        "latitude": 47.5,
        "longitude": -52.7,
        "par_stock": [{"cup_type": "cup-300", "quantity": 40}, {"cup_type": "cup-450", "quantity": 20}],
    }
    return network.reference(
        [],
        {
            f"{prefix}-{n}": (of_schemes[n % len(of_schemes)], participants[n % len(participants)], where)
            for n in range(count)
        },
    )["sites"]


class Network:
    """A new ledger, with the network that sites belong to."""

    def __init__(self, stack):
        self.database = Database()
        stack.callback(self.database.drop)
        self.service = new_service(self.database, key_rate=0)
        stack.callback(self.service.stop)
        self.service.contract = None

    def load(self, document):
        """Seconds, from the request to its answer."""
        body = network_body(document)
        started = time.monotonic()
        answer = self.service.admin.send("POST", "/v1/reference", body)
        elapsed = time.monotonic() - started
        assert answer.status == 200, answer.body[:600]
        return elapsed

    def load_sites(self):
        people = [f"member-{n}" for n in range(PARTICIPANTS)]
        self.load(
            {
                "cup_types": network.CUPS,
                "participants": [{"participant": p, "name": p} for p in people],
                "schemes": schemes(70, network.WORKED_DAY),
            }
        )
        return self.load({"sites": sites(SITES, "site", [f"bay-{n}" for n in range(70)], people)})

    def load_schemes(self):
        return self.load({"cup_types": network.CUPS, "schemes": schemes(SCHEMES, network.WORKED_DAY)})

    def bare_seconds(self):
        """The same rows, copied into another database with the ledger's tables, with one commit."""
        copies = {table: io.StringIO() for table in ROWS}
        connection = psycopg2.connect(self.database.owner_dsn)
        for table, rows in ROWS.items():
            connection.cursor().copy_expert(f"COPY ({rows}) TO STDOUT", copies[table])
            copies[table].seek(0)
        connection.close()
        other = Database()
        try:
            connection = psycopg2.connect(other.owner_dsn, options="-c session_replication_role=replica")
            started = time.monotonic()
            for table, copy in copies.items():
                connection.cursor().copy_expert(f"COPY {table} FROM STDIN", copy)
            connection.commit()
            elapsed = time.monotonic() - started
            connection.close()
        finally:
            other.drop()
        return elapsed


def network_body(document):
    """Made before the clock runs."""
    return json.dumps(document).encode()


@contextmanager
def beside_loads(ledger):
    """Somebody loads new sites into the ledger's network, again and again. Gives a list of the seconds of each load."""
    taken, over = [], threading.Event()
    client = ledger.service.client(ledger.service.admin_key)

    def load():
        while not over.is_set():
            round_of = f"new-{ledger.random.getrandbits(40):x}"
            body = network_body({"sites": sites(SITES, round_of, ["tern-bay"], ["member-0", "member-1"])})
            started = time.monotonic()
            answer = client.send("POST", "/v1/reference", body)
            assert answer.status == 200, answer.body[:600]
            taken.append(time.monotonic() - started)

    thread = threading.Thread(target=load)
    thread.start()
    try:
        yield taken
    finally:
        over.set()
        thread.join()
