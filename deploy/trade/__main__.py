# SPDX-License-Identifier: ISC
"""Loads the invented network of the demo, trades four past business days, closes and pays each, and prints the results.

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

import pages
from client import Client
from floor import STORY, Floor, current_business_day, with_dates
from morning import APPROVER, Morning

NETWORK = Path(__file__).parent.parent / "demo-network.json"
DAYS = len(STORY["tern-bay"])
EVENTS_PER_POST = 500
NAMES = {
    "office_accounts": "list of the office's codes"
}  # of things that are counted, where a member's name reads badly
EXPECTED_REJECTIONS = {"cup_type_unknown"}  # the story's mistyped cup


class Poster:
    """Sends batches of a scheme's events, each event under its participant's key, and keeps the exceptions."""

    def __init__(self, client, floor):
        self.client = client
        self.floor = floor
        self.exceptions = []

    def day(self, index):
        """Posts all events of a day. Returns the number of events for each outcome, and the seconds it took."""
        outcomes, started = Counter(), time.monotonic()
        batches = self.floor.business_day(index)
        for batch in batches:
            for key, events in self.by_key(batch).items():
                for first in range(0, len(events), EVENTS_PER_POST):
                    outcomes += self.post(events[first : first + EVENTS_PER_POST], key)
                progress(f"  {self.floor.scheme:<12} {batch.name:<12} {outcomes.total():>6,} events posted")
        progress("")
        return outcomes, time.monotonic() - started

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
    """Loads the network, whose first business day is four days ago, and makes its keys."""
    network = json.loads(NETWORK.read_text())
    now = datetime.now(timezone.utc)
    first_day = min(current_business_day(scheme, now) for scheme in network["schemes"]) - timedelta(days=DAYS)
    network = with_dates(network, first_day)
    loaded = client.post("/v1/reference", network)
    print(
        "Loaded: " + ", ".join(f"{count} {NAMES.get(name, name.replace('_', ' '))}" for name, count in loaded.items())
    )
    client.make_key("accountant", "accountant", "Ines")
    client.make_key(APPROVER, "accountant", "Tom")
    for name in ("accountant", APPROVER):
        client.renew_key(name)
    for participant in network["participants"]:
        own = [site["site"] for site in network["sites"] if site["participant"] == participant["participant"]]
        client.make_key(participant["participant"], "pos", f"Counters of {participant['name']}", sites=own)
    print(
        f"Keys made: an accountant's, a treasurer's, and one for the tills of each of {len(network['participants'])}"
        " participants"
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
    print(
        f"{floor.scheme} begins with the books of a network that runs: {cups:,} cups, {Decimal(event['bank']):,}"
        f" {currency} at the bank, of which {Decimal(sheet['operator_account']):,} are the operator's own"
    )


def trade(client, posters, mornings, date, index):
    pages.heading(f"Business day {date:%Y-%m-%d, %A}", f"day {index + 1} of {DAYS}")
    for poster in posters:
        pages.paragraph(poster.floor.scheme, STORY[poster.floor.scheme][index]["told"])
    for poster in posters:
        outcomes, seconds = poster.day(index)
        print(
            f"  {poster.floor.scheme:<12} {outcomes['recorded']:>6,} events recorded, {outcomes['duplicate']:,} "
            f"duplicate, {outcomes['rejected']:,} refused  ({seconds:.1f} s)"
        )
    for poster in posters:
        pages.settlement(client.post(f"/v1/schemes/{poster.floor.scheme}/days/{date}/close", key="accountant"))
        if index < DAYS - 1:  # the last day's payments wait for the reader
            pages.paragraph("", mornings[poster.floor.scheme].of(date, eventful=index == DAYS - 2))


def main(url, key_folder, bustle="1"):
    client = Client(url, key_folder)
    network, first_day = load(client)
    keep_names(client, url)
    posters = [Poster(client, Floor(network, scheme, first_day, float(bustle))) for scheme in network["schemes"]]
    mornings = {scheme["scheme"]: Morning(client, scheme) for scheme in network["schemes"]}
    second = network["schemes"][1]
    open_books(client, posters[1].floor, mornings[second["scheme"]], second["currency"])
    print(
        "Position: collected - refunded + fees + tax + the rest. Above zero the participant owes it;\n"
        "below zero the pool owes it."
    )
    for index in range(DAYS):
        trade(client, posters, mornings, first_day + timedelta(days=index), index)
    last_day = first_day + timedelta(days=DAYS - 1)
    for scheme in network["schemes"]:
        asked = {"scheme": scheme["scheme"], "as_of": last_day.isoformat()}
        pages.deposit_cover(client.get("/v1/reports/deposit-cover", **asked), scheme["currency"])
        pages.withdrawable(client.get("/v1/reports/withdrawable", scheme=scheme["scheme"]), scheme["currency"])
        pages.stock(client.get("/v1/reports/stock", **asked))
        pages.ageing(client.get("/v1/reports/ageing", scheme=scheme["scheme"]), scheme["currency"])
    pages.exceptions([found for poster in posters for found in poster.exceptions])
    pages.checks(client.get("/v1/checks"))
    pages.heading("Cautions")
    print(pages.CAUTIONS)


if __name__ == "__main__":
    main(*sys.argv[1:])
