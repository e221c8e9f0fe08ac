# SPDX-License-Identifier: ISC
"""Cups that the tills of some cafes know one from another. The shop floor makes events without names; this adds names
to them, and walks along with the cups. A name is a GRAI with a serial number. Its asset type stands in the network, and
begins with 952, which GS1 keeps for demonstrations and examples (its table of prefixes, from memory), so it is no real
cup's."""

import random
from collections import Counter, defaultdict
from datetime import datetime, timedelta

CUP_TYPE = "cup-300"
COUNTERS = ("anchor", "copper", "brick", "mill")  # their tills can read a name
EACH = 15  # named cups that each of them begins with
READ = 0.05  # the share of cups over the counter whose name is read
CARRIED = 0.3  # how likely a van takes one of two named cups along
OUT_AT_LEAST = timedelta(minutes=20)


class Names:
    def __init__(self, asset_type, vans_from):
        """`vans_from`: no van before this moment has named cups, so none of them is on a van that has a mishap."""
        self.asset_type = asset_type
        self.vans_from = vans_from
        self.random = random.Random("names")
        self.at = defaultdict(list)  # (site, damaged): serials there
        self.out = {}  # serial: since when customers have it
        self.vans = {}  # dispatch: [(serial, damaged)]
        self.seen = Counter()  # serial: how often a till or a van read it
        self.made = 0

    def cup_id(self, serial):
        return self.asset_type + serial

    def tell(self, events):
        """Names cups in events, which may be told once only. Sales that are reversed name none."""
        undone = {event["reverses"] for event in events if "reverses" in event}
        for event in sorted(events, key=lambda event: event["occurred_at"]):
            if event["event_id"] not in undone and hasattr(self, "_" + event["kind"]):
                getattr(self, "_" + event["kind"])(event)

    def lines(self, event, member):
        """The lines of named cups' type, each with whether it is of damaged cups; not those named by hand."""
        found = [line for line in event.get(member, []) if line["cup_type"] == CUP_TYPE and "ids" not in line]
        return [(line, "condition" in line) for line in found]

    def name(self, line, serials):
        if serials:
            line["ids"] = [self.cup_id(serial) for serial in serials]
            self.seen.update(serials)

    def choose(self, there, quantity, share):
        wanted = sum(self.random.random() < share for _ in range(quantity))
        return self.random.sample(there, min(wanted, len(there)))

    def take(self, place, quantity, share):
        chosen = self.choose(self.at[place], quantity, share)
        self.at[place] = [serial for serial in self.at[place] if serial not in chosen]
        return chosen

    # ---- kinds of events ---------------------------------------------------------------------------------

    def _supply(self, event):
        for line, _ in self.lines(event, "cups"):
            if event["site"] in COUNTERS:
                serials = [f"{self.made + n + 1:04}" for n in range(min(EACH, line["quantity"]))]
                self.made += len(serials)
                self.at[event["site"], False] += serials
                self.name(line, serials)

    def _issue(self, event):
        for line, _ in self.lines(event, "issued"):
            chosen = self.take((event["site"], False), line["quantity"], READ) if event["site"] in COUNTERS else []
            self.out.update(dict.fromkeys(chosen, datetime.fromisoformat(event["occurred_at"])))
            self.name(line, chosen)

    def _return(self, event):
        now = datetime.fromisoformat(event["occurred_at"])
        for line, damaged in self.lines(event, "returned"):
            there = [serial for serial, since in self.out.items() if now - since >= OUT_AT_LEAST]
            chosen = self.choose(there, line["quantity"], READ) if event["site"] in COUNTERS else []
            for serial in chosen:
                del self.out[serial]
                self.at[event["site"], damaged].append(serial)
            self.name(line, chosen)

    def _exchange(self, event):
        self._return(event)
        self._issue(event)

    def _dispatch(self, event):
        if datetime.fromisoformat(event["occurred_at"]) < self.vans_from:
            return
        for line, damaged in self.lines(event, "cups"):
            share = 1 if damaged else CARRIED
            chosen = self.take((event["site"], damaged), line["quantity"] if damaged else 2, share)
            self.vans.setdefault(event["event_id"], []).extend((serial, damaged) for serial in chosen)
            self.name(line, chosen)

    def _receipt(self, event):
        """A whole van brings what its dispatch names."""
        for serial, damaged in self.vans.pop(event["dispatch"], []):
            self.at[event["site"], damaged].append(serial)
            self.seen[serial] += 1

    def _retire(self, event):
        for line, _ in self.lines(event, "cups"):
            self.name(line, self.take((event["site"], True), line["quantity"], 1))
