# SPDX-License-Identifier: ISC
"""Cups with identity for the random days: names for the lines of events, in several spellings, and where each cup is by
a naive walk over the model's events. Money and cup accounts of the model know nothing of it.

The spellings are those of GS1: the value of application identifier 8003, the element string (General Specifications),
the EPC URI of a GRAI (EPC Tag Data Standard) and a Digital Link URI."""
import re
from collections import Counter, defaultdict
from datetime import date, datetime
from typing import NamedTuple
from urllib.parse import quote, unquote

LISTS = ("returned", "issued", "cups", "places")  # in an exchange the return comes first
MALFORMED = ["x", "07300015200154", "07300015200155A1", "urn:epc:id:grai:7300015.2001.1", "https://example.org/8003/1"]


def check_digit(digits):
    """GS1 General Specifications: from the right, digits weigh 3 and 1 in turn."""
    total = sum(int(d) * (3, 1)[n % 2] for n, d in enumerate(reversed(digits)))
    return str(-total % 10)


def asset(n):
    """The 14 digits of an invented asset type."""
    digits = f"09521234{n:05}"
    return digits + check_digit(digits)


def canonical(text):
    """The 14 digits and the serial number; None: the text is malformed."""
    if found := re.fullmatch(r"urn:epc:id:grai:(\d{6,12})\.(\d{0,6})\.(.+)", text):
        digits = "0" + found[1] + found[2]
        value = digits + check_digit(digits) + unquote(found[3]) if len(digits) == 13 else ""
    elif found := re.fullmatch(r"https?://[^/]+/(?:.*/)?8003/([^/?#]+)(?:[?#].*)?", text):
        value = unquote(found[1])
    else:
        value = re.sub(r"^(\(8003\)|(\]Q3\x1d?)?8003)", "", text)
    valid = re.fullmatch(r"0\d{13}\S{1,16}", value) and check_digit(value[:13]) == value[13]
    return value if valid else None


def respell(rng, cup):
    serial = quote(cup[14:], safe="")
    return rng.choice(
        [
            cup,
            f"(8003){cup}",
            f"]Q3\x1d8003{cup}",
            f"urn:epc:id:grai:{cup[1:8]}.{cup[8:13]}.{serial}",
            f"https://example.org/cups/8003/{quote(cup, safe='')}?x=1",
        ]
    )


def lines_of(event):
    """(list, line) for each line of the event, those of an opening's shipments as well."""
    for name in LISTS:
        yield from ((name, line) for line in event.get(name, []))
    for shipment in event.get("shipments", []):
        yield from (("shipments", line) for line in shipment["cups"])


def with_ids(event, change):
    """A copy in which `change` has made new ids of each line's ids."""

    def changed(line):
        return {**line, "ids": change(line["ids"])} if "ids" in line else line

    copy = {**event, **{name: [changed(line) for line in event[name]] for name in LISTS if name in event}}
    if "shipments" in event:
        copy["shipments"] = [{**s, "cups": [changed(line) for line in s["cups"]]} for s in event["shipments"]]
    return copy


def fault(event):
    """The reason for which the ids of an event are refused, or None. Each member is looked at by itself first. Only if
    all are well formed, they are compared with each other."""
    named = [line for _, line in lines_of(event) if "ids" in line]
    if not all(line["ids"] for line in named):
        return "too_few"
    if any(canonical(cup) is None for line in named for cup in line["ids"]):
        return "bad_format"
    if any(len(line["ids"]) > line.get("quantity", line.get("counted")) for line in named):
        return "too_many"
    return None


class Names:
    """Names some cups of events. Several schemes may share the names, and so the cups."""

    def __init__(self, rng, cup_types):
        self.rng, self.types = rng, {cup: asset(n) for n, cup in enumerate(cup_types)}

    def _cup(self, cup_type):
        """A cup of the type, or rarely of another: then the line and the identity disagree."""
        asset_type = self.types[cup_type] if self.rng.random() < 0.97 else self.rng.choice(list(self.types.values()))
        return asset_type + self.rng.choice(["1", "2", "3", "04", "a/5", "B%6", "7", "8"])

    def name(self, event, sent=()):
        """Names cups of some lines in place; mostly those of `sent`, the lines of the dispatch of an arrival. Cups that
        carry another scheme's deposit stay without names."""
        rng = self.rng
        before = {(c["cup_type"], "condition" in c): c.get("ids") for c in sent}
        for _, line in lines_of(event):
            most = min(line.get("quantity", line.get("counted")), 3)
            if most and "home" not in line and rng.random() < 0.3:
                cups = [self._cup(line["cup_type"]) for _ in range(rng.randint(1, most))]  # now and then the same twice
                known = before.get((line["cup_type"], "condition" in line))
                if known and rng.random() < 0.8:
                    cups = known[:most]
                line["ids"] = [respell(rng, cup) for cup in cups]
                chance = rng.random()
                if chance < 0.02 and event["kind"] != "opening":
                    line["ids"][-1] = rng.choice(MALFORMED)
                elif chance < 0.03 and event["kind"] != "opening":
                    line["ids"] *= line.get("quantity", line.get("counted")) + 1
        return event


# Where each kind of event takes cups from, and where they are then
WAYS = {
    "supply": ("supply", "site_stock"),
    "issue": ("site_stock", "with_customers"),
    "return": ("with_customers", "site_stock"),
    "dispatch": ("site_stock", "in_transit"),
    "receipt": ("in_transit", "site_stock"),
    "transit_loss": ("in_transit", "unaccounted"),
    "damage": ("site_stock", "damaged"),
    "retire": ("damaged", "retired"),
    "count": ("site_stock", "site_stock"),
    "forfeit": ("with_customers", "unaccounted"),
    "reinstate": ("unaccounted", "with_customers"),
    "opening": ("supply", "site_stock"),
}
STOCK = ("site_stock", "damaged")
COUNTER = ("issue", "return", "exchange")


class Place(NamedTuple):
    """Where cups of a type are: in stock of a site, on the road of a dispatch, or a place of the scheme."""

    kind: str
    owner: str | None
    cup_type: str

    def station(self):
        """Where one looks for a cup: at a site, sound or damaged; on a dispatch; or in a place of any scheme."""
        return ("site" if self.kind in STOCK else self.kind, self.owner)


class Sighting(NamedTuple):
    """In the order in which they happened: by instant, scheme, entry, and place in the entry."""

    at: datetime
    scheme: str
    entry: int
    position: int
    cup: str
    kind: str
    came_from: Place
    went_to: Place
    day: date


def moves_of(kind, event):
    """(line, Place that it leaves, Place where its cups are then) of each line."""
    for name, line, dispatch in [
        *((name, line, event.get("dispatch", event["event_id"])) for name in LISTS for line in event.get(name, [])),
        *(("shipments", line, s["dispatch"]) for s in event.get("shipments", []) for line in s["cups"]),
    ]:
        came_from, went_to = WAYS[{"returned": "return", "issued": "issue"}.get(name, kind)]
        went_to = "in_transit" if name == "shipments" else line.get("place", went_to)
        if "condition" in line:  # sent, arrived, returned or opened as damaged
            came_from, went_to = ("damaged" if p == "site_stock" else p for p in (came_from, went_to))
        site = line.get("site", event.get("site"))
        owners = {"in_transit": dispatch, **dict.fromkeys(STOCK, site)}
        yield line, *(Place(p, owners.get(p), line["cup_type"]) for p in (came_from, went_to))


class Walk:
    """The events of a scheme in the order of their entries: which cups each has seen, and where they are then."""

    def __init__(self, model, numbers):
        self.model, self.scheme = model, model.scheme["scheme"]
        self.seen, self.undone = [], set()  # seen: (entry's number, entry, [Sighting])
        self.came = {}  # dispatch -> [(event id of an arrival, entry, its cups)]
        for number, entry in sorted(((numbers[e.event["event_id"]], e) for e in model.entries if e.event), key=first):
            if entry.kind == "reversal":
                self.undone.add(entry.event["reverses"])
            else:
                self._take(number, entry)

    def _take(self, number, entry):
        event = entry.event
        found = [(cup, a, b) for line, a, b in moves_of(entry.kind, event) for cup in line.get("ids", [])]
        if entry.kind in ("receipt", "transit_loss"):
            before = self.came.setdefault(event["dispatch"], [])
            if entry.kind == "receipt" and not found:
                found = self._brought(entry)
            before.append((event["event_id"], entry, {cup for cup, *_ in found}))
        sightings = [
            Sighting(entry.occurred, self.scheme, number, n, cup, entry.kind, a, b, entry.day)
            for n, (cup, a, b) in enumerate(found)
        ]
        self.seen.append((number, entry, sightings))

    def _sent(self, arrival):
        """The dispatch, or a shipment of an opening: of its own scheme, or of the host that sent cups home."""
        return self.model.sender_of(arrival).dispatch(arrival["dispatch"])

    def _brought(self, receipt):
        """The cups of the dispatch that are still on the road, if all of its cups have arrived with this receipt."""
        sent = self._sent(receipt.event)
        lines = sent.event["cups"]
        if sent.event["event_id"] in self.undone or ("host" in receipt.event and sent.reversed_by):
            return []
        came = [(e, cups) for event, e, cups in self.came[receipt.event["dispatch"]] if event not in self.undone]
        still = Counter()
        arrived = [line for e in [receipt, *(e for e, _ in came)] for line in e.event["cups"]]
        for sign, line in [*((1, line) for line in lines), *((-1, line) for line in arrived)]:
            still[line["cup_type"]] += sign * line["quantity"]
        if any(n > 0 for n in still.values()):
            return []
        return [
            (
                cup,
                Place("in_transit", receipt.event["dispatch"], line["cup_type"]),
                Place("damaged" if "condition" in line else "site_stock", receipt.event["site"], line["cup_type"]),
            )
            for line in lines
            for cup in line.get("ids", [])
            if not any(cup in cups for _, cups in came)
        ]

    def done(self):
        """(number, entry, sightings) of the events that were not reversed."""
        return [seen for seen in self.seen if seen[1].event["event_id"] not in self.undone]

    def unnamed_out(self):
        """place -> [(instant, entry)] of the lines that took cups out of it without naming them all"""
        found = defaultdict(list)
        for number, entry, sightings in self.done():
            out = Counter()
            for line, place, _ in moves_of(entry.kind, entry.event):
                if "home" in line:  # they leave the customers of their home, see below
                    continue
                if entry.kind == "count":  # the cups that it missed
                    out[place] -= min(entry.legs.get(f"site_stock({place.owner},{place.cup_type})", 0), 0)
                else:
                    out[place] += line["quantity"]
            out.subtract(s.came_from for s in sightings if s.went_to != s.came_from)
            for place, cups in out.items():
                if cups > 0:
                    found[place].append((entry.occurred, number))
        for entry in self.model.followers.values():
            for account, cups in entry.legs.items():
                if entry.reversed_by is None and account.startswith("with_customers("):
                    place = Place("with_customers", None, account[len("with_customers(") : -1])
                    found[place].append((entry.occurred, None))
        return found


def first(pair):
    return pair[0]


def by_cup(walks):
    """cup -> its sightings in the order in which they happened; those of reversed events count for nothing"""
    found = {s.cup: [] for walk in walks for _, _, sightings in walk.seen for s in sightings}
    for sighting in sorted((s for walk in walks for _, _, of in walk.done() for s in of), key=lambda s: s[:4]):
        found[sighting.cup].append(sighting)
    return found


def whereabouts(walks):
    """cup -> (place, site, scheme, entry) by all schemes; None: each event that names it was reversed."""
    found = {}
    for cup, sightings in by_cup(walks).items():
        last = sightings[-1] if sightings else None
        at = last and last.went_to
        found[cup] = last and (at.kind, at.owner if at.kind in STOCK else None, last.scheme, last.entry)
    return found


def _mismatch(s, before, been_supplied):
    """The exception of a sighting that does not follow from the one before it, or None."""
    if s.came_from.kind == "supply":
        return "cup_supplied_twice" if been_supplied else None
    if not before:
        return "cup_never_supplied"
    if s.came_from.station() == before.went_to.station():
        return None
    if before.went_to.kind in ("retired", "unaccounted"):
        return "cup_after_end"
    if s.came_from.kind == "with_customers":
        return "cup_not_out"
    return "cup_issued_elsewhere" if s.went_to.kind == "with_customers" else "cup_elsewhere"


def findings(walks, types):
    """cup -> Counter of (exception or gap, scheme, entry). `types`: the asset type of each cup type. Of cups that
    nobody has supplied, all stand here: `strangers` tells how many of them are exceptions."""
    unnamed, found = {walk.scheme: walk.unnamed_out() for walk in walks}, {}
    for cup, sightings in by_cup(walks).items():
        found[cup], before, been_supplied, issued_in, here = Counter(), None, False, None, Counter()
        for s in sightings:
            here[s.scheme, s.entry, s.came_from.station()] += 1
            again = here[s.scheme, s.entry, s.came_from.station()] > 1
            kind = "cup_twice" if again else _mismatch(s, before, been_supplied)
            if kind in ("cup_not_out", "cup_issued_elsewhere", "cup_elsewhere"):
                # cups on the road leave it where they arrive, which may be in another scheme
                of = unnamed if before.went_to.kind == "in_transit" else [before.scheme]
                moved = [(at, (scheme, n)) for scheme in of for at, n in unnamed[scheme][before.went_to]]
                own = {before[1:3], s[1:3]}
                kind = "gap" if any(before.at < at <= s.at and entry not in own for at, entry in moved) else kind
            if kind:
                found[cup][kind, s.scheme, s.entry] += 1
            if s.cup[:14] != types[s.went_to.cup_type]:
                found[cup]["cup_other_type", s.scheme, s.entry] += 1
            if s.kind in COUNTER and s.came_from.kind == "with_customers" and issued_in not in (None, s.scheme):
                found[cup]["home_differs", s.scheme, s.entry] += 1
            if s.went_to.kind == "with_customers":
                issued_in = s.scheme
            been_supplied |= s.came_from.kind == "supply"
            before = s
    return found


def strangers(walks):
    """cup -> its type, of each cup that was named before anybody supplied it; and cup type -> how many of them are more
    than were supplied or opened without names."""
    unnamed, types = Counter(), {}
    for walk in walks:
        for _, entry, sightings in walk.done():
            for line, place, _ in moves_of(entry.kind, entry.event):
                unnamed[place.cup_type] += line["quantity"] if place.kind == "supply" else 0
            unnamed.subtract(s.came_from.cup_type for s in sightings if s.came_from.kind == "supply")
    for cup, sightings in by_cup(walks).items():
        if sightings and sightings[0].came_from.kind != "supply":
            types[cup] = sightings[0].went_to.cup_type
    return types, {t: n - unnamed[t] for t, n in Counter(types.values()).items() if n > unnamed[t]}


def trips(walks, scheme):
    """(issue, the return that ends its trip or None) of each issue of the scheme."""
    for sightings in by_cup(walks).values():
        counter = [s for s in sightings if s.kind in COUNTER]
        for s, after in zip(counter, [*counter[1:], None]):
            if s.went_to.kind == "with_customers" and scheme in (None, s.scheme):
                yield s, after if after and after.went_to.kind != "with_customers" else None
