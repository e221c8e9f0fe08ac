# SPDX-License-Identifier: ISC
"""Cups with identity for the random days: names for the lines of events, in several spellings, and where each cup is by
a naive walk over the model's events. Money and cup accounts of the model know nothing of it.

The spellings are those of GS1: the value of application identifier 8003, the element string (General Specifications),
the EPC URI of a GRAI (EPC Tag Data Standard) and a Digital Link URI."""
import re
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
    """The reason for which the ids of an event are refused, or None."""
    for _, line in lines_of(event):
        ids = line.get("ids", [])
        if "ids" in line and not ids:
            return "too_few"
        if any(canonical(cup) is None for cup in ids):
            return "bad_format"
        if len(ids) > line.get("quantity", line.get("counted")):
            return "too_many"
    return None


class Names:
    """Names some cups of events. Several schemes may share the names, and so the cups."""

    def __init__(self, rng, cup_types):
        self.rng, self.types = rng, {cup: asset(n) for n, cup in enumerate(cup_types)}

    def _cup(self, cup_type):
        return self.types[cup_type] + self.rng.choice(["1", "2", "3", "04", "a/5", "B%6", "7", "8"])

    def name(self, event, sent=()):
        """Names cups of some lines in place; mostly those of `sent`, the lines of the dispatch of an arrival."""
        rng = self.rng
        before = {(c["cup_type"], "condition" in c): c.get("ids") for c in sent}
        for name, line in lines_of(event):
            if name == "shipments" and "condition" in line:
                continue  # an opening does not keep which of a type that it sends sound and damaged were named
            most = min(line.get("quantity", line.get("counted")), 3)
            if most and rng.random() < 0.3:
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


PLACES = {
    "supply": "site_stock",
    "issue": "with_customers",
    "dispatch": "in_transit",
    "receipt": "site_stock",
    "transit_loss": "unaccounted",
    "damage": "damaged",
    "retire": "retired",
    "count": "site_stock",
    "forfeit": "unaccounted",
    "reinstate": "with_customers",
    "opening": "site_stock",
}


def place_of(kind, name, line, site):
    """(place, site) where the line says that its cups are then."""
    named = {"returned": "site_stock", "issued": "with_customers", "shipments": "in_transit"}.get(name)
    place = named or line.get("place") or PLACES[kind]
    if "condition" in line and place == "site_stock":
        place = "damaged"
    return place, line.get("site", site) if place in ("site_stock", "damaged") else None


class Walk:
    """The events of a scheme in the order of their entries: which cups each has seen, and where they are then."""

    def __init__(self, model, numbers):
        self.model, self.seen, self.undone = model, [], set()  # seen: (event id, entry, cups: {cup: place})
        self.came = {}  # dispatch -> [(event id of an arrival, its cups)]
        for number, entry in sorted((numbers[e.event["event_id"]], e) for e in model.entries if e.event):
            if entry.kind == "reversal":
                self.undone.add(entry.event["reverses"])
            else:
                self._take(number, entry)

    def _take(self, number, entry):
        event, cups = entry.event, {}
        for name, line in lines_of(event):
            cups |= dict.fromkeys(line.get("ids", []), place_of(entry.kind, name, line, event.get("site")))
        if entry.kind in ("receipt", "transit_loss"):
            before = self.came.setdefault(event["dispatch"], [])
            if entry.kind == "receipt" and not cups:
                cups = self._brought(entry)
            before.append((event["event_id"], entry, cups))
        self.seen.append((number, entry, cups))

    def _brought(self, receipt):
        """The cups of the dispatch that are still on the road, if all of its cups have arrived with this receipt."""
        dispatch = self.model.dispatch(receipt.event["dispatch"])
        if dispatch.event["event_id"] in self.undone:
            return {}
        came = [(e, cups) for event, e, cups in self.came[receipt.event["dispatch"]] if event not in self.undone]
        still = {}
        for sign, event in [(1, dispatch.event), *((-1, e.event) for e in [receipt, *(e for e, _ in came)])]:
            for line in event["cups"]:
                still[line["cup_type"]] = still.get(line["cup_type"], 0) + sign * line["quantity"]
        if any(n > 0 for n in still.values()):
            return {}
        return {
            cup: place_of("receipt", "cups", line, receipt.event["site"])
            for line in dispatch.event["cups"]
            for cup in line.get("ids", [])
            if not any(cup in cups for _, cups in came)
        }

    def sightings(self):
        """(order, cup, place, site) of the events that were not reversed."""
        code = self.model.scheme["scheme"]
        for number, entry, cups in self.seen:
            if entry.event["event_id"] not in self.undone:
                yield from (((entry.occurred, code, number), cup, *where) for cup, where in cups.items())


def whereabouts(walks):
    """cup -> (place, site, scheme, entry) by all schemes; None: each event that names it was reversed."""
    found = {cup: None for walk in walks for _, _, cups in walk.seen for cup in cups}
    for order, cup, place, site in sorted(s for walk in walks for s in walk.sightings()):
        found[cup] = place, site, order[1], order[2]
    return found
