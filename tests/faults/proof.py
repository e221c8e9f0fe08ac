# SPDX-License-Identifier: ISC
"""The proof after a fault: each acknowledged event is in the ledger exactly once with its content, any other event at
most once, entry numbers have no gaps, and all checks hold. The feed and the database are read independently of each
other."""
import json
import os
from datetime import datetime

from cluster import watching
from harness import SANITIZER

ENTRIES = (
    "SELECT entry, business_date::text, late, event FROM entry JOIN scheme ON scheme.id = entry.scheme"
    " WHERE code = %s AND entry > %s ORDER BY entry"
)
LAST = "SELECT coalesce(max(entry), 0) FROM entry JOIN scheme ON scheme.id = entry.scheme WHERE code = %s"


def content(event):
    """An event in a form for comparison: the same instant may be written with another offset."""
    return {**event, "occurred_at": datetime.fromisoformat(event["occurred_at"].replace("Z", "+00:00"))}


class Auditor:
    """Follows the feed of a scheme from proof to proof, so each proof reads only new entries."""

    def __init__(self, load, scheme="tern-bay"):
        self.load, self.book, self.scheme = load, load.book, scheme
        self.cursor, self.last, self.entries, self.close_items = {}, 0, {}, []

    def prove(self, service=None):
        """Runs while the tills go on: all events acknowledged until now must be there."""
        service = service or self.load.services[0]
        self.prove_entries(service)
        service.client(self.load.key).assert_holds(self.scheme)
        self.assert_quiet()

    def prove_entries(self, service):
        acknowledged = self.answers()
        before = self.last
        items = self.read_on(service)
        for event_id, answer in acknowledged.items():
            assert (
                self.entries.get(event_id) == answer
            ), f"{event_id} was answered {answer}: {self.entries.get(event_id)}"
        self.compare_with_database(service.database, before, items)

    def answers(self):
        """Of the events of the scheme that were acknowledged until now."""
        return {i: answer for i, answer in dict(self.book.answers).items() if self.load.scheme_of(i) == self.scheme}

    def prove_all(self):
        """Runs after the tills have ended: the ledger has the events that were sent, except the refused events, and
        reads as it did before."""
        self.prove()
        self.prove_all_entries()

    def prove_all_entries(self):
        sent = {i for i in self.book.sent if self.load.scheme_of(i) == self.scheme}
        assert self.entries.keys() == sent - self.book.refused
        assert self.entries == self.answers()
        again = Auditor(self.load, self.scheme)
        for service in self.load.services:
            again.cursor, again.last, again.entries, again.close_items = {}, 0, {}, []
            items = again.read_on(service)
            assert again.entries == self.entries and again.close_items == self.close_items
            again.compare_with_database(service.database, 0, items)

    def read_on(self, service):
        """Follows the feed up to the present last entry. The page with that entry may bring more."""
        [(goal,)] = service.database.rows(LAST, self.scheme)
        client, items = service.client(self.load.key, checked=False), []
        while self.last < goal:
            page = client.get("/v1/events", scheme=self.scheme, limit=1000, **self.cursor)
            assert page["items"], f"the feed ends at {self.last}, not at {goal}"
            self.cursor = {"cursor": page["next"]}
            items += [item for item in page["items"] if item["kind"] != "day_cut"]
            for item in page["items"]:
                self.take(item)
        return items

    def take(self, item):
        if item["kind"] == "day_cut":
            return
        assert item["entry"] == self.last + 1, f"entry {item['entry']} after {self.last}"
        self.last = item["entry"]
        if "event" not in item:
            accounts = tuple(leg["account"] for leg in item["legs"])
            self.close_items.append((item["business_date"], item["kind"], accounts))
            return
        event_id = item["event"]["event_id"]
        assert event_id not in self.entries, f"{event_id} is in the ledger twice"
        assert event_id not in self.book.refused, f"{event_id} was refused"
        assert content(item["event"]) == content(self.book.sent[event_id])
        self.entries[event_id] = (item["entry"], item["business_date"], item["late"])

    def compare_with_database(self, database, after, items):
        with watching(database) as query:
            rows = query(ENTRIES, self.scheme, after)[: len(items)]  # it may have grown since the feed was read
        assert [(entry, day, late, event and json.loads(event)) for entry, day, late, event in rows] == [
            (i["entry"], i["business_date"], i["late"], i.get("event")) for i in items
        ]

    def assert_quiet(self):
        """Checks that no sanitizer has reported anything. Reads the whole log, because a killed service has no status
        of its own."""
        for service in self.load.services:
            with open(service.log.name, errors="replace") as log:
                spoken = [line for line in log if SANITIZER.search(line)]
            assert not spoken, spoken[:5]


class Auditors:
    """An auditor of each scheme. The checks run for all schemes at once."""

    def __init__(self, load):
        self.load = load
        self.each = [Auditor(load, scheme) for scheme in sorted({scheme for scheme, _ in load.sites.values()})]

    def prove(self, service=None):
        service = service or self.load.services[0]
        for auditor in self.each:
            auditor.prove_entries(service)
        service.client(self.load.key).assert_holds()
        self.each[0].assert_quiet()

    def prove_all(self):
        self.prove()
        for auditor in self.each:
            auditor.prove_all_entries()


class Footprint:
    """Checks that memory and descriptors of a process stay within bounds."""

    MEMORY_BOUND_KB = 32 * 1024  # batches and answers differ in size, and a heap keeps its high-water mark

    def __init__(self, service):
        self.pid = service.process.pid
        self.memory, self.descriptors = self.memory_kb(), self.count_descriptors()

    def memory_kb(self):
        with open(f"/proc/{self.pid}/status") as status:
            return next(int(line.split()[1]) for line in status if line.startswith("VmRSS:"))

    def count_descriptors(self):
        return len(os.listdir(f"/proc/{self.pid}/fd"))

    def assert_bounded(self, load):
        """Runs after the tills have hung up: there must be no more descriptors than before the first call, and not
        much more memory."""
        load.wait_until(lambda: self.count_descriptors() <= self.descriptors, f"at most {self.descriptors} descriptors")
        grown = self.memory_kb() - self.memory
        print(f"memory {self.memory} kB at first, {grown:+} kB at the end; {self.count_descriptors()} descriptors")
        if not sanitized():
            assert grown <= self.MEMORY_BOUND_KB, f"grown by {grown} kB"


def sanitized():
    """Sanitizers keep freed memory back on purpose, so the size of the process says nothing."""
    with open(os.environ["DEPOSITD_BINARY"], "rb") as binary:
        text = binary.read()
    return b"__asan_init" in text or b"__tsan_init" in text
