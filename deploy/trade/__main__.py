# SPDX-License-Identifier: ISC
"""Loads the invented network of the demo, trades fourteen past business days, closes and pays each, and prints what
happened, what the figures prove, and where to look.

    python3 deploy/trade URL KEY_FOLDER [BUSTLE]

KEY_FOLDER holds the admin's key in the file `admin`. The program keeps there the keys that it makes, and the file
`env`, from which a shell takes the names of the README's commands. BUSTLE, 1 unless given, is the share of the usual
custom."""

import json
import sys
import time
from collections import Counter
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import abroad
import fortnight
import pages
from client import Client
from floor import STORY, Floor, current_business_day, with_dates
from fortnight import Fortnight
from morning import APPROVER, Morning
from names import CUP_TYPE, Names

NETWORK = Path(__file__).parent.parent / "demo-network.json"
DAYS = 14
NAMED_VANS_FROM = 4  # the day after the last mishap of a van
EVENTS_PER_POST = 500
NAMES = {
    "office_accounts": "list of the office's codes"
}  # of things that are counted, where a member's name reads badly
EXPECTED_REJECTIONS = {"cup_type_unknown"}  # the story's mistyped cup


class Poster:
    """Sends batches of a scheme's events, each event under its participant's key, and keeps the exceptions."""

    def __init__(self, client, floor, names=None, story=None):
        self.client = client
        self.floor = floor
        self.names = names
        self.story = story
        self.exceptions = []

    def day(self, index):
        """Posts all events of a day. Returns the number of events for each outcome, and the seconds it took."""
        outcomes, started = Counter(), time.monotonic()
        if self.story is not None:
            outcomes += self.post_all(self.story.morning(index))
        outcomes += self.post_all(self.floor.business_day(index))
        return outcomes, time.monotonic() - started

    def post_all(self, batches):
        outcomes = Counter()
        for batch in batches:
            if self.names is not None:
                self.names.tell(batch.events)
            for key, events in self.by_key(batch).items():
                for first in range(0, len(events), EVENTS_PER_POST):
                    outcomes += self.post(events[first : first + EVENTS_PER_POST], key)
                progress(f"  {self.floor.scheme:<12} {batch.name:<12} {outcomes.total():>6,} events posted")
        progress("")
        return outcomes

    def by_key(self, batch):
        events_of = {}
        for event in batch.events:
            key = "accountant" if batch.by_accountant else self.floor.participant(event["site"])
            events_of.setdefault(key, []).append(event)
        if batch.twice:
            events_of[batch.twice] = events_of[batch.twice] * 2
        return events_of

    def post(self, events, key):
        answer = self.client.post("/v1/events", events, key)
        for event, result in zip(events, answer["results"], strict=True):
            if result["status"] == "rejected":
                self.rejected(event, result["problem"])
            elif result["status"] == "recorded":
                self.exceptions += [(self.floor.scheme, event, exception) for exception in result["exceptions"]]
        return Counter(result["status"] for result in answer["results"])

    def rejected(self, event, problem):
        if problem["reason"] not in EXPECTED_REJECTIONS:
            raise SystemExit(f"demo: refused: {json.dumps(event)}\n{json.dumps(problem)}")
        fault = problem["errors"][0]
        progress("")
        print(
            f"  {self.floor.scheme:<12} one event of {event['site']} is refused, the others of its request are not:"
            f"\n{'':15}{fault['pointer']}: {fault['reason']}, {fault['detail']}"
        )


def progress(line):
    """Prints a line that the next line overwrites, if a person is watching."""
    if sys.stdout.isatty():
        print(f"\r\033[K{line}", end="", flush=True)


def load(client):
    """Loads the network, whose first business day is a fortnight ago, and makes its keys."""
    network = json.loads(NETWORK.read_text())
    now = datetime.now(timezone.utc)
    first_day = min(current_business_day(scheme, now) for scheme in network["schemes"]) - timedelta(days=DAYS)
    network = with_dates(network, first_day)
    loaded = client.post("/v1/reference", network)
    pages.paragraph("loaded", ", ".join(f"{n} {NAMES.get(of, of.replace('_', ' '))}" for of, n in loaded.items() if n))
    client.make_key("accountant", "accountant", "Ines")
    client.make_key(APPROVER, "accountant", "Tom")
    for name in ("accountant", APPROVER):
        client.renew_key(name)
    for participant in network["participants"]:
        own = [site["site"] for site in network["sites"] if site["participant"] == participant["participant"]]
        client.make_key(participant["participant"], "pos", f"Counters of {participant['name']}", sites=own)
    pages.paragraph(
        "keys",
        f"an accountant's, a treasurer's, and one for the tills of each of {len(network['participants'])} participants",
    )
    return network, first_day


def keep_names(client, url):
    """For the README's commands: the address, an admin's key, and the key of an accountant, the second person."""
    keys = {name: f"{owner}:{client.secret(owner)}" for name, owner in (("key", "admin"), ("second", "accountant"))}
    client.keep("env", "".join(f"{name}={value}\n" for name, value in {"api": f"{url}/v1", **keys}.items()))


def open_books(client, floor, morning, currency):
    """The second scheme ran before. One accountant states its books, and another agrees."""
    event = floor.opening()
    sheet = client.post("/v1/events", event, key="accountant")["balance_sheet"]
    client.post(f"/v1/openings/{event['event_id']}/approve", key=APPROVER)
    morning.balance = Decimal(event["bank"])
    cups = -sum(line["cups"] for line in sheet["cups"] if line["account"].startswith("supply("))
    pages.paragraph(
        floor.scheme,
        f"begins with the books of a network that runs: {cups:,} cups, and {Decimal(event['bank']):,} {currency} at"
        f" the bank, of which {Decimal(sheet['operator_account']):,} are the operator's own",
    )


def told(scheme, index):
    """The story of a scheme's day; empty: a quiet day."""
    days = STORY[scheme]
    if index < len(days):
        return days[index]["told"]
    return (fortnight if scheme == "tern-bay" else abroad).TOLD.get(index, "")


def trade(client, posters, mornings, date, index):
    """The first day is printed whole, so that a reader sees once what a close gives."""
    pages.heading(f"{date:%A %Y-%m-%d}", f"day {index + 1} of {DAYS}")
    for poster in posters:
        if told(poster.floor.scheme, index):
            pages.paragraph(poster.floor.scheme, told(poster.floor.scheme, index))
    done = [(poster, *poster.day(index)) for poster in posters]
    for poster, outcomes, seconds in done:
        scheme = poster.floor.scheme
        closed = client.post(f"/v1/schemes/{scheme}/days/{date}/close", key="accountant")
        if index == 0:
            pages.settlement(closed)
        pages.day(scheme, outcomes, seconds, closed)
        if index < DAYS - 1:  # the last day's payments wait for the reader
            text = mornings[scheme].of(date, eventful=index == DAYS - 2)
            if index in (0, DAYS - 2):
                pages.paragraph("", text)


def carry_out(poster):
    """The plan of the last evening: one request makes shipments of it, and the vans leave and arrive."""
    story = poster.story
    plan = story.make_plan()
    pages.heading("A plan for tonight", "today, which is open")
    poster.post_all(story.carry_out())
    moved, cost = story.saved()
    bound = Decimal(plan["bound"])
    pages.paragraph(
        poster.floor.scheme,
        f"{moved:,} cups on {len(plan['shipments'])} ways cost {cost:,} in hauls; no plan costs less than {bound:,}."
        " One request asked for all of them as shipments. They left and arrived."
        if moved
        else "Nothing has to be moved.",
    )


def where_to_look(url, poster):
    """The page of each story: it has a picture."""
    names, story, scheme = poster.names, poster.story, "?scheme=" + poster.floor.scheme
    others = names.seen.keys() - {story.twice}
    travelled = max(others, key=lambda serial: (names.seen[serial], serial))
    return [
        ("shipments that wait, by age", f"{url}/v1/shipments{scheme}&state=open"),
        ("the shipment that got lost", f"{url}/v1/shipments/{story.shipments['lost']}{scheme}"),
        ("cups gone: count and losses", f"{url}/v1/reports/shrinkage{scheme}"),
        ("a cup that travelled", f"{url}/v1/cups/{names.cup_id(travelled)}"),
        ("the cup that was read twice", f"{url}/v1/cups/{names.cup_id(story.twice or travelled)}"),
        ("trips of numbered cups", f"{url}/v1/reports/trip-counts{scheme}"),
        ("broken cups made new", f"{url}/v1/reports/recovery{scheme}"),
        ("cups that come back", f"{url}/v1/reports/return-rate{scheme}"),
        ("cups at the other scheme", f"{url}/v1/reports/between-schemes{scheme}"),
        ("a plan on the map", f"{url}/v1/plans?scheme=eider-sound&box={fortnight.BOX}"),
    ]


def main(url, key_folder, bustle="1"):
    client = Client(url, key_folder)
    network, first_day = load(client)
    keep_names(client, url)
    first, second = network["schemes"]
    floors = [Floor(network, scheme, first_day, float(bustle)) for scheme in network["schemes"]]
    floors[0].day = first_day + timedelta(days=NAMED_VANS_FROM)
    grai = next(cup["grai"] for cup in network["cup_types"] if cup["cup_type"] == CUP_TYPE)
    names = Names(grai, floors[0].at(0))
    travellers = abroad.Abroad(*floors)
    posters = [
        Poster(client, floors[0], names, Fortnight(client, floors[0], names, travellers)),
        Poster(client, floors[1], story=travellers),
    ]
    pages.paragraph("agreement", abroad.sign(client, network, first_day))
    mornings = {scheme["scheme"]: Morning(client, scheme) for scheme in network["schemes"]}
    open_books(client, floors[1], mornings[second["scheme"]], second["currency"])
    pages.paragraph(
        "position",
        "collected - refunded + fees + tax + the rest; above zero the participant owes it, below zero the pool does",
    )
    for index in range(DAYS):
        trade(client, posters, mornings, first_day + timedelta(days=index), index)
    carry_out(posters[0])
    last_day = first_day + timedelta(days=DAYS - 1)
    for scheme in network["schemes"]:
        asked = {"scheme": scheme["scheme"], "as_of": last_day.isoformat()}
        pages.deposit_cover(client.get("/v1/reports/deposit-cover", **asked), scheme["currency"])
        pages.withdrawable(client.get("/v1/reports/withdrawable", scheme=scheme["scheme"]), scheme["currency"])
        pages.stock(client.get("/v1/reports/stock", **asked))
        pages.ageing(client.get("/v1/reports/ageing", scheme=scheme["scheme"]), scheme["currency"])
    pages.exceptions([found for poster in posters for found in poster.exceptions])
    pages.checks(client.get("/v1/checks"))
    pages.where_to_look(where_to_look(url, posters[0]))
    pages.heading("Cautions")
    print(pages.CAUTIONS)


if __name__ == "__main__":
    main(*sys.argv[1:])
