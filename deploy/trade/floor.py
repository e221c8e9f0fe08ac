# SPDX-License-Identifier: ISC
"""The invented shop floor of a scheme: customers who buy or bring back, vans that carry cups, and mishaps.

A Floor keeps its own simple count of where the cups are, so the trade is possible. It knows nothing of HTTP:
business_day() returns the day's events in the order in which they are to be posted. The same network, days and bustle
always give the same trade."""

import random
import uuid
from collections import Counter
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

BOX = 24  # a van does not come for less

# Visits at a cafe between two hours of the day, and how many of a hundred buy or bring back (the rest do both).
SLICES = [
    ("forenoon", 7.5, 12.0, 70, 80, 12),
    ("afternoon", 12.0, 17.0, 60, 50, 38),
    ("evening", 17.0, 20.5, 45, 22, 66),
]

# The mishaps and their repairs, by scheme and day of the demo. "told" is for the reader; under a slice's name stand the
# methods that make its incidents, with their arguments.
STORY = {
    "tern-bay": [
        {
            "told": "Copper takes 2.00 too little once and counts three cups short; dock sells bowls that are not on"
            " its books; ferry's till is offline all evening.",
            "evening": [("undercharged", "copper"), ("oversold", "dock")],
            "offline": "ferry",
            "miscounted": "copper",
        },
        {
            "told": "Ferry's till sends yesterday's evening, after its close. Hearth's tills lose an answer and send a "
            "forenoon twice. Two cups do not arrive with a van.",
            "cups_lost_on_a_van": 2,
            "twice": "hearth",
        },
        {
            "told": "From today cup-450 is worth 4.00, not 3.50. Mill reverses a sale that was keyed in twice, anchor "
            "mistypes a cup type, the lost cups are written off, and someone still finds dune open.",
            "forenoon": [("keyed_twice", "mill"), ("unknown_cup", "anchor"), ("van_written_off", "operator")],
            "afternoon": [("brought_to_closed_site", "dune")],
        },
        {
            "told": "A van unloads at the wrong hub. The accountant forfeits cups that nobody will bring back; two "
            "come.",
            "misdelivered_to": "netloft",
            "night": [("forfeited", 20), ("reinstated", 2)],
        },
    ],
    "eider-sound": [
        {
            "told": "The scheme ran before: an opening, on which two people agreed, states its cups, its money at the"
            " bank and who owes whom. The sites have placed their deposits already."
        },
        {"told": "One cup does not arrive with a van.", "cups_lost_on_a_van": 1},
        {
            "told": "The hub bears the lost cup. Basalt reverses a sale; moss counts three cups short and pays for "
            "them.",
            "forenoon": [("van_written_off", "receiver"), ("keyed_twice", "basalt")],
            "miscounted": "moss",
        },
        {"told": "Moss's tills send a forenoon twice.", "twice": "moss"},
    ],
}


@dataclass
class Batch:
    """Events that may be posted together. Events of sites go out under their participant's own key."""

    name: str
    events: list
    twice: str | None = None  # this participant's till lost the answer and sends all of them again
    by_accountant: bool = False


class Floor:
    def __init__(self, network, scheme, first_day, bustle=1.0):
        """`bustle`: how much of the demo's custom comes."""
        self.bustle = bustle
        self.scheme = scheme["scheme"]
        self.zone = ZoneInfo(scheme["time_zone"])
        self.first_day = first_day
        self.sites = {site["site"]: site for site in network["sites"] if site["scheme"] == self.scheme}
        self.cup_types = [cup["cup_type"] for cup in network["cup_types"]]
        self.refund_values = scheme["refund_values"]
        self.hubs = self.sites_of_kind("hub")
        self.random = random.Random(self.scheme)
        self.shelf = Counter()  # (site, cup type): sound cups there
        self.broken = Counter()  # (site, cup type): damaged cups there
        self.out = Counter()  # cup type: with customers since an earlier slice of the day
        self.just_sold = Counter()  # cup type: with customers since this slice
        self.lean = {site: self.random.uniform(-25, 25) for site in self.sites}  # more buyers, or more returners
        self.held_back = []  # events of a till that is offline
        self.vans_short = []  # (dispatch, cups missing)
        self.tills = Counter()
        self.opened = False  # the first cups came with an opening

    def sites_of_kind(self, *kinds):
        return [code for code, site in self.sites.items() if site["kind"] in kinds]

    def is_open(self, site):
        return self.sites[site].get("closed_on", "9999") >= self.day.isoformat()

    def participant(self, site):
        return self.sites[site]["participant"]

    def refund_value(self, cup_type):
        in_force = [
            value
            for value in self.refund_values
            if value["cup_type"] == cup_type and value["effective_date"] <= self.day.isoformat()
        ]
        return Decimal(max(in_force, key=lambda value: value["effective_date"])["amount"])

    def tariff(self, cups):
        return sum(self.refund_value(line["cup_type"]) * line["quantity"] for line in cups)

    # ---- one business day -------------------------------------------------------------------------------

    def business_day(self, index):
        self.day = self.first_day + timedelta(days=index)
        told = STORY[self.scheme]
        self.story = dict(told[index]) if index < len(told) else {}  # a day after the story is quiet
        batches = [Batch("late till", self.held_back)]
        self.held_back = []
        batches += self.stock_up() if index == 0 else self.morning_vans()
        for name, start, end, visits, buy, bring in SLICES:
            batches += self.trade(name, start, end, visits, buy, bring)
        batches += self.evening_vans()
        batches += self.night_shift()
        return [batch for batch in batches if batch.events]

    def at(self, hour):
        return datetime.combine(self.day, time(), self.zone) + timedelta(hours=hour)

    def event(self, kind, hour, **members):
        event_id = uuid.UUID(int=self.random.getrandbits(128), version=4)
        return {
            "event_id": str(event_id),
            "kind": kind,
            "occurred_at": self.at(hour).isoformat(timespec="seconds"),
            **members,
        }

    def first_cups(self, site):
        if site in self.hubs:
            return [{"cup_type": cup_type, "quantity": 1200} for cup_type in self.cup_types]
        return [dict(line) for line in self.sites[site].get("par_stock", [])]

    def opening(self):
        """The books that the scheme brings along: its cups, all deposits for them and a little more at the bank, and
        a participant that still owes something."""
        self.day, self.opened = self.first_day, True
        places, money = [], Decimal(0)
        for site in self.sites:
            for line in self.first_cups(site):
                self.shelf[site, line["cup_type"]] = line["quantity"]
                places.append({"site": site, **line})
        for cup_type in sorted({place["cup_type"] for place in places}):
            self.out[cup_type] = 40
            places.append({"place": "with_customers", "cup_type": cup_type, "quantity": 40})
            places.append({"place": "unaccounted", "cup_type": cup_type, "quantity": 5})
        for place in places:
            if place.get("place") != "unaccounted":
                money += self.refund_value(place["cup_type"]) * place["quantity"]
        first = self.participant(min(self.sites))
        return self.event(
            "opening",
            6,
            scheme=self.scheme,
            places=places,
            bank=str(money + 100 * self.refund_value(places[0]["cup_type"])),
            due=[{"participant": first, "amount": str(4 * self.refund_value(places[0]["cup_type"]))}],
            reference="the books until now",
        )

    def stock_up(self):
        if self.opened:
            return []
        supplies = []
        for site in self.sites:
            cups = self.first_cups(site)
            if cups:
                self.shelf.update({(site, line["cup_type"]): line["quantity"] for line in cups})
                supplies.append(self.event("supply", 6, site=site, cups=cups, reference="first stock"))
        return [Batch("first stock", supplies)]

    # ---- at the counter ---------------------------------------------------------------------------------

    def trade(self, name, start, end, visits, buy, bring):
        events = []
        for site in self.sites_of_kind("cafe", "return_point"):
            if not self.is_open(site):
                continue
            weights = [max(buy + self.lean[site], 0), max(bring - self.lean[site], 0), 100 - buy - bring]
            if self.sites[site]["kind"] == "return_point":
                weights = [0, 1, 0]
            count = int(visits * self.bustle * self.random.uniform(0.6, 1.4))
            for hour in sorted(self.random.uniform(start, end) for _ in range(count)):
                events += self.visit(site, self.random.choices(["issue", "return", "exchange"], weights)[0], hour)
        done, accountant = self.incidents(name, start + 1)
        events = sorted(events + done, key=lambda event: event["occurred_at"])
        self.out.update(self.just_sold)
        self.just_sold.clear()
        if name == "evening" and "offline" in self.story:
            self.held_back = [event for event in events if event["site"] == self.story["offline"]]
            events = [event for event in events if event["site"] != self.story["offline"]]
        twice = self.story.get("twice") if name == "forenoon" else None
        return [Batch(name, events, twice), Batch("accountant", accountant, by_accountant=True)]

    def visit(self, site, kind, hour):
        """The event of a customer's visit; none if there are no cups to hand out or to bring back."""
        event = self.event(kind, hour, site=site)
        if kind != "issue":
            event["returned"] = self.bring_back(site)
        if kind != "return":
            event["issued"] = self.hand_out(site)
        if not event.get("returned", True) or not event.get("issued", True):
            self.put_back(site, event)
            return []
        if self.random.random() < 0.7:  # the others leave it to the tariff
            paid = self.tariff(event.get("issued", [])) - self.tariff(event.get("returned", []))
            event["amount"] = str(-paid if kind == "return" else paid)
        event["tender"] = self.random.choice(["card", "card", "cash", "app"])
        self.tills[site] += 1
        event["reference"] = f"till {self.random.randint(1, 2)}/{1000 + self.tills[site]}"
        return [event]

    def hand_out(self, site):
        cup_type = self.random.choices(self.cup_types, [2, 6, 3, 1])[0]
        quantity = min(self.random.choices([1, 2, 3, 4], [60, 28, 8, 4])[0], self.shelf[site, cup_type])
        if quantity <= 0:
            return []
        self.shelf[site, cup_type] -= quantity
        self.just_sold[cup_type] += quantity
        return [{"cup_type": cup_type, "quantity": quantity}]

    def bring_back(self, site):
        cup_type = self.random.choices(self.cup_types, [2, 6, 3, 1])[0]
        quantity = min(self.random.choices([1, 2, 3, 4], [50, 30, 12, 8])[0], self.out[cup_type])
        if quantity <= 0:
            return []
        self.out[cup_type] -= quantity
        if self.random.random() < 0.01:
            self.broken[site, cup_type] += quantity
            return [{"cup_type": cup_type, "quantity": quantity, "condition": "damaged"}]
        self.shelf[site, cup_type] += quantity
        return [{"cup_type": cup_type, "quantity": quantity}]

    def put_back(self, site, event):
        """If only half of an exchange was possible, it did not happen."""
        for line in event.get("returned", []):
            place = self.broken if "condition" in line else self.shelf
            place[site, line["cup_type"]] -= line["quantity"]
            self.out[line["cup_type"]] += line["quantity"]
        for line in event.get("issued", []):
            self.shelf[site, line["cup_type"]] += line["quantity"]
            self.just_sold[line["cup_type"]] -= line["quantity"]

    # ---- vans between the sites and the hubs ------------------------------------------------------------

    def morning_vans(self):
        """Each cafe is brought up to its par stock, from the first hub that has the cups."""
        dispatches = []
        for site in filter(self.is_open, self.sites_of_kind("cafe")):
            wanted = {
                line["cup_type"]: line["quantity"] - self.shelf[site, line["cup_type"]]
                for line in self.sites[site]["par_stock"]
            }
            for hub in self.hubs:
                cups = [
                    {"cup_type": cup_type, "quantity": quantity}
                    for cup_type, quantity in wanted.items()
                    if quantity >= BOX and self.shelf[hub, cup_type] >= quantity
                ]
                if cups:
                    dispatches.append(self.send(hub, site, cups, 5.0))
                    wanted.update({line["cup_type"]: 0 for line in cups})
        return [Batch("vans load", dispatches), Batch("vans unload", [self.unload(van, 6.5) for van in dispatches])]

    def evening_vans(self):
        """Return points send in all their cups, cafes the cups above their par stock, and both send in damaged cups."""
        dispatches = []
        for site in self.sites_of_kind("cafe", "return_point"):
            par = Counter()
            if self.is_open(site) and self.sites[site].get("closed_on") != self.day.isoformat():
                par.update({line["cup_type"]: line["quantity"] for line in self.sites[site].get("par_stock", [])})
            spare = {cup_type: self.shelf[site, cup_type] - par[cup_type] for cup_type in self.cup_types}
            cups = [
                {"cup_type": cup_type, "quantity": quantity}
                for cup_type, quantity in spare.items()
                if quantity >= (BOX if par else 1)
            ]
            cups += [
                {"cup_type": cup_type, "quantity": self.broken[site, cup_type], "condition": "damaged"}
                for cup_type in self.cup_types
                if self.broken[site, cup_type]
            ]
            if cups and site != self.story.get("offline"):
                dispatches.append(self.send(site, self.hubs[0], cups, 20.75))
        return [Batch("vans load", dispatches), Batch("vans unload", [self.unload(van, 21.5) for van in dispatches])]

    def place_of(self, line):
        return self.broken if "condition" in line else self.shelf

    def send(self, sender, receiver, cups, hour):
        for line in cups:
            self.place_of(line)[sender, line["cup_type"]] -= line["quantity"]
        return self.event("dispatch", hour, site=sender, to=receiver, cups=cups)

    def unload(self, dispatch, hour):
        """The cups of a dispatch that arrive, and the place. The story's mishaps befall the day's first van to a
        hub."""
        site, cups = dispatch["to"], [dict(line) for line in dispatch["cups"]]
        if site in self.hubs:
            site = self.story.pop("misdelivered_to", site)
            lost = self.story.pop("cups_lost_on_a_van", 0)
            if lost:
                most = max(cups, key=lambda line: line["quantity"])
                most["quantity"] -= lost
                self.vans_short.append((dispatch, [{**most, "quantity": lost}]))
        for line in cups:
            self.place_of(line)[site, line["cup_type"]] += line["quantity"]
        return self.event("receipt", hour, site=site, dispatch=dispatch["event_id"], cups=cups)

    # ---- at night ---------------------------------------------------------------------------------------

    def night_shift(self):
        """The wash records the broken cups, yesterday's breakage goes to be made into new cups, and some sites
        count."""
        wash = self.hubs[0]
        scrap = [
            {"cup_type": cup_type, "quantity": self.broken[wash, cup_type]}
            for cup_type in self.cup_types
            if self.broken[wash, cup_type]
        ]
        broke = [{"cup_type": cup_type, "quantity": self.random.randint(2, 6)} for cup_type in self.cup_types[1:3]]
        events = [self.event("retire", 22.0, site=wash, cups=scrap)] if scrap else []
        events.append(self.event("damage", 22.25, site=wash, cups=broke))
        for line in scrap:
            self.broken[wash, line["cup_type"]] = 0
        for line in broke:
            self.shelf[wash, line["cup_type"]] -= line["quantity"]
            self.broken[wash, line["cup_type"]] += line["quantity"]
        counting = [
            site
            for site in filter(self.is_open, self.sites_of_kind("cafe"))
            if site != self.story.get("offline") and self.random.random() < 0.3
        ]
        if "miscounted" in self.story:
            counting = sorted({*counting, self.story["miscounted"]})
        events += [self.count(site) for site in counting]
        done, accountant = self.incidents("night", 23)
        return [Batch("night", events + done), Batch("accountant", accountant, by_accountant=True)]

    def count(self, site):
        if site == self.story.get("miscounted"):
            self.shelf[site, self.cup_types[1]] -= 3  # they were never sold: nobody knows where they are
        cups = [{"cup_type": cup_type, "counted": max(self.shelf[site, cup_type], 0)} for cup_type in self.cup_types]
        self.shelf.update(
            {(site, line["cup_type"]): line["counted"] - self.shelf[site, line["cup_type"]] for line in cups}
        )
        return self.event("count", 22.75, site=site, cups=cups)

    # ---- mishaps ------------------------------------------------------------------------------------

    def incidents(self, name, hour):
        """The story's events of a slice: events of sites, and events that only an accountant may post."""
        told = [event for what, argument in self.story.get(name, []) for event in getattr(self, what)(argument, hour)]
        by_accountant = [event for event in told if event["kind"] in ("forfeit", "reinstate", "transit_loss")]
        return [event for event in told if event not in by_accountant], by_accountant

    def sale(self, site, cup_type, quantity, hour):
        return self.event("issue", hour, site=site, issued=[{"cup_type": cup_type, "quantity": quantity}])

    def undercharged(self, site, hour):
        sale = self.sale(site, "cup-300", 4, hour)
        self.shelf[site, "cup-300"] -= 4
        self.just_sold["cup-300"] += 4
        return [{**sale, "amount": str(self.tariff(sale["issued"]) - 2)}]

    def oversold(self, site, hour):
        """A person carried cups over from next door without a word."""
        quantity = self.shelf[site, "bowl-900"] + 3
        self.shelf[site, "bowl-900"] = -3
        self.just_sold["bowl-900"] += quantity
        return [self.sale(site, "bowl-900", quantity, 20.4)]

    def keyed_twice(self, site, hour):
        sale = self.sale(site, "cup-300", 12, hour)
        return [sale, self.event("reversal", hour + 0.2, site=site, reverses=sale["event_id"])]

    def unknown_cup(self, site, hour):
        return [self.sale(site, "cup-30", 1, hour)]

    def brought_to_closed_site(self, site, hour):
        self.out["cup-300"] -= 2
        self.shelf[site, "cup-300"] += 2
        return [self.event("return", hour, site=site, returned=[{"cup_type": "cup-300", "quantity": 2}])]

    def van_written_off(self, bearer, hour):
        dispatch, cups = self.vans_short.pop()
        return [
            self.event(
                "transit_loss", hour, site=dispatch["site"], dispatch=dispatch["event_id"], cups=cups, bearer=bearer
            )
        ]

    def forfeited(self, quantity, hour):
        quantity = min(quantity, self.out["cup-240"])
        self.out["cup-240"] -= quantity
        return [self.event("forfeit", hour, scheme=self.scheme, cups=[{"cup_type": "cup-240", "quantity": quantity}])]

    def reinstated(self, quantity, hour):
        self.out["cup-240"] += quantity
        return [
            self.event(
                "reinstate", hour + 0.2, scheme=self.scheme, cups=[{"cup_type": "cup-240", "quantity": quantity}]
            )
        ]


def current_business_day(scheme, now):
    """The business day of a scheme that contains `now`; only for cut-offs that no change of the clocks touches."""
    hour, minute = map(int, scheme["cut_off"].split(":"))
    local = now.astimezone(ZoneInfo(scheme["time_zone"])).replace(tzinfo=None)
    return (local - timedelta(hours=hour, minutes=minute)).date()


def with_dates(document, first_day):
    """The network with each "day+N" replaced by that day of the demo."""
    if isinstance(document, dict):
        return {name: with_dates(value, first_day) for name, value in document.items()}
    if isinstance(document, list):
        return [with_dates(value, first_day) for value in document]
    if isinstance(document, str) and document.startswith(("day+", "day-")):
        return (first_day + timedelta(days=int(document[3:]))).isoformat()
    return document
