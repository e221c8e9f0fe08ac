# SPDX-License-Identifier: ISC
"""The stories of a scheme over the fortnight, besides its trade: shipments that people ask for and that go wrong, a
count that comes late, a cup that comes back twice, broken cups that come back as new ones, and a plan that is carried
out. It moves the shop floor's cups, and asks the service for what only the service knows."""

from collections import Counter
from datetime import datetime, timedelta, timezone
from decimal import Decimal

from floor import Batch

OFFICE = "accountant"
STORE, BOX, SMALL_LOAD = "netloft", 12, 24

# By day of the demo: the text for a reader, and the methods that make it happen, in their order. Each returns events.
TOLD = {
    4: "The office asks the store for five shipments, by tomorrow.",
    5: "One shipment arrives whole. One is four cups short. One has cups of the wrong type. Two do not arrive.",
    6: "Ferry's count of last night comes after the close, and misses five cups. Broken cups leave for a re-maker.",
    7: "One cup's number is read at brick, and six minutes later at copper.",
    8: "The store sends the right type after all. A numbered cup breaks at anchor.",
    9: "The four cups are not found: plover bears the loss. The missing shipment is closed at the store's cost.",
    10: "The re-maker's new cups arrive, and go into service.",
    11: "Of two more shipments one arrives nine cups short, and one is on the road. Four cups come home from gull.",
    12: "The bank takes a collection back, and books a stranger's money.",
    13: "The last day. Its payments wait for you. One more shipment is asked for, by tomorrow.",
}
MADE = {
    4: ("ask",),
    5: ("send_all",),
    6: ("count_late", "send_to_remaker"),
    7: ("return_twice",),
    8: ("send_right_type", "break_named"),
    9: ("close_losses",),
    10: ("supply_remade",),
    11: ("ask_again", "welcome_home"),
    13: ("ask_for_tomorrow",),
}


def cups(cup_type, quantity):
    return [{"cup_type": cup_type, "quantity": quantity}]


class Fortnight:
    def __init__(self, client, floor, names, abroad):
        self.client = client
        self.floor = floor
        self.names = names
        self.abroad = abroad
        self.shipments = {}  # its name in the story: its id
        self.vans = {}  # likewise: its dispatch
        self.batch = None
        self.twice = None  # the cup that came back twice
        self.plan = None  # as the service made it, on the last evening

    def morning(self, index):
        """The events of a day that come before its trade."""
        batches = []
        for number, what in enumerate(MADE.get(index, ())):
            late = what == "count_late"  # the floor's day is still yesterday
            if not late:
                self.floor.day = self.floor.first_day + timedelta(days=index)
            events = getattr(self, what)()
            by_office = [event for event in events if event["kind"] == "transit_loss"]
            batches.append(Batch(f"story {number}", [event for event in events if event not in by_office]))
            batches.append(Batch(f"office {number}", by_office, by_accountant=True))
        return [batch for batch in batches if batch.events]

    # ---- shipments -----------------------------------------------------------------------------------------

    def ask_for(self, wishes, wanted_on):
        """Asks for a shipment for each wish, {name: (receiver, cup type, quantity, more)}, and remembers their ids."""
        asked = [
            {"site": STORE, "to": to, "cups": cups(cup_type, quantity), "wanted_on": wanted_on.isoformat(), **more}
            for to, cup_type, quantity, more in wishes.values()
        ]
        answer = self.client.post("/v1/shipments", {"scheme": self.floor.scheme, "shipments": asked}, key=OFFICE)
        self.shipments.update(zip(wishes, [item["shipment"] for item in answer["items"]], strict=True))

    def send(self, name, to, lines, hour):
        """A dispatch that fulfils a shipment, with the cups that the store has."""
        lines = [dict(line) for line in lines]
        self.vans[name] = {**self.floor.send(STORE, to, lines, hour), "shipment": self.shipments[name]}
        return self.vans[name]

    def arrive(self, name, hour, lines=None):
        """The receipt of a van, with other cups than were sent if `lines` says so."""
        van = self.vans[name]
        return self.floor.unload({**van, "cups": lines or van["cups"]}, hour)

    def ask(self):
        tomorrow = self.floor.day + timedelta(days=1)
        self.ask_for(
            {
                "whole": ("mill", "bowl-900", 24, {}),
                "short": ("plover", "cup-300", 48, {"note": "by the side door"}),
                "wrong": ("lantern", "cup-450", 36, {}),
                "lost": ("copper", "cup-240", 30, {"bearer": "sender"}),
                "forgotten": ("dock", "cup-450", 24, {}),
            },
            tomorrow,
        )
        return []

    def send_all(self):
        vans = [
            self.send("whole", "mill", cups("bowl-900", 24), 5.5),
            self.send("short", "plover", cups("cup-300", 48), 5.5),
            self.send("wrong", "lantern", cups("cup-240", 36), 5.6),
            self.send("lost", "copper", cups("cup-240", 30), 5.7),
        ]
        came = [
            self.arrive("whole", 6.7),
            self.arrive("short", 6.8, cups("cup-300", 44)),
            self.arrive("wrong", 7.0),
        ]
        return vans + came

    def send_right_type(self):
        return [self.send("wrong", "lantern", cups("cup-450", 36), 5.5), self.arrive("wrong", 6.7)]

    def close_losses(self):
        """The bearers are those that were agreed: of one shipment the sender, of the other the scheme's own."""
        return [
            self.floor.event(
                "transit_loss", 10, site=STORE, dispatch=self.vans[name]["event_id"], cups=cups(cup_type, quantity)
            )
            for name, cup_type, quantity in (("short", "cup-300", 4), ("lost", "cup-240", 30))
        ]

    def ask_again(self):
        self.ask_for(
            {"nine short": ("brick", "cup-300", 40, {}), "on the road": ("anchor", "cup-450", 24, {})}, self.floor.day
        )
        vans = [
            self.send("nine short", "brick", cups("cup-300", 40), 5.5),
            self.send("on the road", "anchor", cups("cup-450", 24), 5.6),
        ]
        return [*vans, self.arrive("nine short", 6.7, cups("cup-300", 31))]

    def welcome_home(self):
        return self.abroad.come_home(6.9)

    def ask_for_tomorrow(self):
        self.ask_for({"tomorrow": ("mill", "cup-300", 36, {})}, self.floor.day + timedelta(days=2))
        return []

    # ---- counts and known cups -----------------------------------------------------------------------------

    def count_late(self):
        """Yesterday's count, of a till that was offline."""
        shelf = self.floor.shelf
        shelf["ferry", "cup-300"] = max(shelf["ferry", "cup-300"] - 5, 0)
        counted = [
            {"cup_type": cup_type, "counted": max(shelf["ferry", cup_type], 0)} for cup_type in self.floor.cup_types
        ]
        return [self.floor.event("count", 23.5, site="ferry", cups=counted)]

    def named_line(self, serial):
        self.names.seen[serial] += 1
        return [{**cups("cup-300", 1)[0], "ids": [self.names.cup_id(serial)]}]

    def return_twice(self):
        """Early, when no other cup has left brick since: so the second reading must be wrong."""
        if not self.names.out or self.floor.out["cup-300"] < 2:
            return []
        self.twice = max(self.names.out, key=lambda serial: (self.names.seen[serial], serial))
        del self.names.out[self.twice]
        self.names.at["brick", False].append(self.twice)
        self.floor.out["cup-300"] -= 2
        back = []
        for site, hour in (("brick", 7.0), ("copper", 7.1)):
            self.floor.shelf[site, "cup-300"] += 1
            back.append(self.floor.event("return", hour, site=site, returned=self.named_line(self.twice)))
        return back

    def break_named(self):
        there = self.names.at["anchor", False]
        if not there or self.floor.shelf["anchor", "cup-300"] < 1:
            return []
        serial = there.pop()
        self.names.at["anchor", True].append(serial)
        self.floor.shelf["anchor", "cup-300"] -= 1
        self.floor.broken["anchor", "cup-300"] += 1
        return [self.floor.event("damage", 9, site="anchor", cups=self.named_line(serial))]

    # ---- broken cups ---------------------------------------------------------------------------------------

    def send_to_remaker(self):
        """All cups that were retired at the wash so far, as the service counts them."""
        wash = self.floor.hubs[0]
        rows = self.client.get("/v1/reports/retired-cups", scheme=self.floor.scheme, site=wash)["items"]
        lines = [{"cup_type": row["cup_type"], "quantity": row["waiting"]} for row in rows if row["waiting"]]
        if lines:
            mass = {cup["cup_type"]: cup["mass_g"] for cup in self.client.get("/v1/cup-types")["items"]}
            self.batch = {
                "batch": "tb-1",
                "site": wash,
                "sent_on": (self.floor.first_day + timedelta(days=6)).isoformat(),
                "remaker": "Tern Bay Moulding",
                "weight_g": sum(mass[line["cup_type"]] * line["quantity"] for line in lines),
                "cups": lines,
            }
            self.client.post("/v1/remaking-batches", self.batch, key=OFFICE)
        return []

    def supply_remade(self):
        """Two of three cups can be made anew."""
        if self.batch is None:
            return []
        wash = self.batch["site"]
        lines = [
            {"cup_type": line["cup_type"], "quantity": line["quantity"] * 2 // 3}
            for line in self.batch["cups"]
            if line["quantity"] > 1
        ]
        for line in lines:
            self.floor.shelf[wash, line["cup_type"]] += line["quantity"]
        return [self.floor.event("supply", 10, site=wash, cups=lines, batch="tb-1")] if lines else []

    # ---- the plan ------------------------------------------------------------------------------------------

    def make_plan(self):
        self.plan = self.client.get(
            "/v1/plans", scheme=self.floor.scheme, box=BOX, minimum_load=SMALL_LOAD, cost_per_km="1.00"
        )
        return self.plan

    def carry_out(self):
        """Asks for all shipments of the plan, and returns their dispatches and receipts, which happen now."""
        now = datetime.now(timezone.utc).isoformat(timespec="seconds")
        vans = []
        for request in self.plan["requests"]:
            items = self.client.post("/v1/shipments", request, key=OFFICE)["items"]
            for asked, item in zip(request["shipments"], items, strict=True):
                van = self.floor.send(asked["site"], asked["to"], asked["cups"], 0)
                vans.append({**van, "occurred_at": now, "shipment": item["shipment"]})
        came = [{**self.floor.unload(van, 0), "occurred_at": now} for van in vans]
        return [Batch("plan loads", vans), Batch("plan unloads", came)] if vans else []

    def saved(self):
        """Cups that the plan moves, and what that costs."""
        moved = Counter()
        for shipment in self.plan["shipments"]:
            moved.update({line["cup_type"]: line["quantity"] for line in shipment["cups"]})
        return moved.total(), Decimal(self.plan["cost"])
