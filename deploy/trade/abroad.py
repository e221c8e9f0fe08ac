# SPDX-License-Identifier: ISC
"""Cups that come back in the other scheme: two people sign an agreement, one for each scheme, and travellers hand cups
in at the other scheme's counters. Some of these cups are sent home."""

from collections import Counter
from datetime import timedelta

from floor import Batch
from morning import APPROVER

# Of the home: eider-sound pays out its own refund value, and tern-bay owes it this for each cup.
AGREED = {
    "currency": "ISK",
    "rate": "0.0105",
    "values": [
        {"cup_type": "cup-300", "amount": "240"},
        {"cup_type": "cup-450", "amount": "340"},
    ],
}
TOLD = {
    8: "Travellers hand seven of tern-bay's cups in at gull. Tern-bay owes for them as agreed.",
    10: "Gull sends four of them home, and keeps the others until the next van.",
}
HANDED_IN = {8: (("cup-300", 4), ("cup-300", 1), ("cup-450", 2))}
AT, HOME_STORE = "gull", "netloft"
SENT_HOME = {10: ("cup-300", 4)}


def sign(client, network, first_day):
    """One person signs for the home, and another for the host."""
    home, host = (scheme["scheme"] for scheme in network["schemes"])
    path = f"/v1/schemes/{home}/agreements/{host}/{first_day}"
    proposal = client.put(path, {**AGREED, "signs_for": home})
    client.post(f"/v1/proposals/{proposal['proposal']}/approve", key=APPROVER)
    return (
        f"for cups of {home} that come back in {host}, {home} owes 240 ISK for a cup-300; Odile signs for {home}, and"
        f" Tom for {host}"
    )


class Abroad:
    """The travellers' returns and the van home, as a part of the host's days."""

    def __init__(self, home, host):
        self.home = home
        self.host = host  # both are shop floors
        self.visiting = Counter()
        self.van = None  # the dispatch that is on its way home

    def morning(self, index):
        self.host.day = self.host.first_day + timedelta(days=index)
        events = [
            self.hand_in(cup_type, min(quantity, self.home.out[cup_type]), 11 + minute / 60)
            for minute, (cup_type, quantity) in enumerate(HANDED_IN.get(index, ()))
            if self.home.out[cup_type] > 0
        ]
        if index in SENT_HOME:
            events += self.send_home(*SENT_HOME[index], 8)
        return [Batch("travellers", events)] if events else []

    def hand_in(self, cup_type, quantity, hour):
        self.home.out[cup_type] -= quantity
        self.host.shelf[AT, cup_type] += quantity
        self.visiting[cup_type] += quantity
        line = {"cup_type": cup_type, "quantity": quantity, "home": self.home.scheme}
        return self.host.event("return", hour, site=AT, returned=[line], tender="cash")

    def send_home(self, cup_type, quantity, hour):
        """Up to so many of the cups that visit."""
        quantity = min(quantity, self.visiting[cup_type])
        if not quantity:
            return []
        self.visiting[cup_type] -= quantity
        self.van = self.host.send(AT, HOME_STORE, [{"cup_type": cup_type, "quantity": quantity}], hour)
        return [self.van]

    def come_home(self, hour):
        """The receipt of the van, on the home's shop floor."""
        return [{**self.home.unload(self.van, hour), "host": self.host.scheme}] if self.van else []
