# SPDX-License-Identifier: ISC
"""The naive model of return rates: first in, first out, cup by cup."""
from collections import Counter, defaultdict
from datetime import date
from itertools import zip_longest


class CupQueue:
    """Cups of a type: the day of each issue, and the day and kind of each end. If a day takes back more than it adds,
    these were the latest of their kind. Cups of an opening have no day of issue, and `lost` of these were forfeited
    before."""

    def __init__(self, opened=0, lost=0):
        self.issued = [None] * (opened + lost)
        self.ended = {"forfeited": [date.min] * lost, "returned": []}

    def move(self, kind, day, n):
        """Days come in their order."""
        cups = self.issued if kind == "issued" else self.ended[kind]
        if n < 0:
            del cups[n:]
        cups.extend([day] * n)

    def fates(self):
        """day of issue -> Counter of "out" and (kind, days until the end)"""
        ends = sorted((day, kind) for kind, days in self.ended.items() for day in days)  # forfeits of a day come first
        found = defaultdict(Counter)
        for day, end in zip_longest(self.issued, ends):
            if day is not None:
                found[day]["out" if end is None else (end[1], max((end[0] - day).days, 0))] += 1
        return found
