# SPDX-License-Identifier: ISC
"""Invented networks of cups around the world. Countries and their time zones are those of tzdata's zone.tab, currencies
those of ISO 4217 list one. Each country has one scheme, and a large one a scheme for some of its zones. Sites and what
they trade are drawn by chance, within their local hours."""
import json
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

import network

ZONE_TAB = Path("/usr/share/zoneinfo/zone.tab")
CURRENCIES = {
    country: currency
    for currency, countries in {
        "EUR": "AT BE DE EE ES FI FR GR IE IT LT LU LV MT NL PT SI SK",
        "USD": "EC US",
        **dict(
            pair.split("=")
            for pair in """
            ARS=AR AUD=AU BRL=BR CAD=CA CHF=CH CLP=CL CNY=CN COP=CO CRC=CR CZK=CZ DKK=DK EGP=EG GBP=GB GEL=GE GHS=GH
            HKD=HK HUF=HU IDR=ID ILS=IL INR=IN ISK=IS JMD=JM JOD=JO JPY=JP KES=KE KRW=KR KWD=KW KZT=KZ LKR=LK MUR=MU
            MXN=MX MYR=MY NGN=NG NOK=NO NPR=NP NZD=NZ OMR=OM PEN=PE PHP=PH PLN=PL RON=RO RSD=RS RWF=RW SEK=SE SGD=SG
            THB=TH TND=TN TRY=TR TWD=TW UYU=UY VND=VN ZAR=ZA ZMW=ZM""".split()
        ),
    }.items()
    for country in countries.split()
}
DECIMALS = {**dict.fromkeys("CLP ISK JPY KRW RWF VND".split(), 0), **dict.fromkeys("JOD KWD OMR TND".split(), 3)}
ZONES_MAX = 4  # schemes of a country
FIRST = date(2025, 10, 20)  # a Monday; on the Sunday after it Europe's clocks go back
DAYS = 7
OPENS, CLOSES = 7, 20  # local hours
DAY = timedelta(days=1)
PAY_DAYS = ("daily", "daily", ["fri"], ["mon", "thu"])
CUPS = ("cup-300", "cup-450")
SITES_MAX = 2000  # in each document of reference data, which is bounded in bytes
OWNED = 4  # sites of a participant
LATE = 0.01  # events whose till sends them the day after
TICK = timedelta(minutes=15)


def zones():
    """{country: its first zones}"""
    found = {}
    for line in ZONE_TAB.read_text().splitlines():
        if not line.startswith("#"):
            country, _, zone, *_ = line.split("\t")
            found.setdefault(country, []).append(zone)
    return {country: found[country][:ZONES_MAX] for country in sorted(CURRENCIES)}


@dataclass
class Scheme:
    code: str
    currency: str
    zone_name: str
    cut_off: str
    sites: list = field(default_factory=list)
    undelivered: list = field(default_factory=list)  # dispatches
    late: dict = field(default_factory=dict)  # when they are sent: events
    supplied: bool = False

    def __post_init__(self):
        self.zone = ZoneInfo(self.zone_name)

    def money(self, hundredths):
        decimals = DECIMALS.get(self.currency, 2)
        return f"{Decimal(hundredths).scaleb(-decimals):.{decimals}f}"

    @property
    def values(self):
        return {"cup-300": self.money(250), "cup-450": self.money(350)}

    def ends(self, day):
        """The end of a business day."""
        hours, minutes = map(int, self.cut_off.split(":"))
        return datetime(day.year, day.month, day.day, hours, minutes, tzinfo=self.zone) + DAY

    def document(self, group, rng):
        terms = {
            "netting": rng.choice(("direct", "central")),
            "minimum_payment": self.money(rng.choice((0, 500))),
            "service_fee": self.money(10),
            "handling_fee": self.money(4),
            "tax_rate": rng.choice(("0", "0.10", "0.20")),
            "pay_days": rng.choice(PAY_DAYS),
        }
        more = {"currency": self.currency, "time_zone": self.zone_name, "cut_off": self.cut_off, "group": group}
        stock_terms = rng.choice(("on_loan", "on_deposit"))
        return network.scheme(self.code, FIRST, self.values, terms=[terms], stock_terms=stock_terms, **more)


class World:
    def __init__(self, rng, sites, groups, each_day):
        """`each_day`: events of a site."""
        self.rng, self.groups, self.each_day = rng, groups, each_day
        self.schemes = [
            Scheme(f"pool-{country.lower()}-{n}", CURRENCIES[country], zone, rng.choice(("00:00", "03:00", "04:30")))
            for country, of_country in zones().items()
            for n, zone in enumerate(of_country)
        ]
        sizes = [rng.uniform(1, 10) for _ in self.schemes]
        more = rng.choices(self.schemes, sizes, k=sites - len(self.schemes))
        for n, scheme in enumerate(self.schemes + more):
            scheme.sites.append(f"site-{n:05}")
        self.documents = list(self._documents())
        self.begins = min(s.ends(FIRST - DAY) for s in self.schemes).astimezone(timezone.utc)
        self.ends = max(s.ends(self.last_day) for s in self.schemes).astimezone(timezone.utc)

    last_day = FIRST + (DAYS - 1) * DAY

    def _documents(self):
        yield network.reference([s.document(n % self.groups + 1, self.rng) for n, s in enumerate(self.schemes)], {})
        rows = [(site, (s.code, f"{s.code}-{n // OWNED}")) for s in self.schemes for n, site in enumerate(s.sites)]
        for first in range(0, len(rows), SITES_MAX):
            document = network.reference([], dict(rows[first : first + SITES_MAX]))
            yield {part: document[part] for part in ("participants", "sites")}

    def load(self, admin):
        for document in self.documents:
            admin.load(document)

    def trade(self, now):
        """The events that tills post in the quarter of an hour that begins now."""
        return [event for scheme in self.schemes for event in self._trade_of(scheme, now)]

    def _trade_of(self, scheme, now):
        local = now.astimezone(scheme.zone)
        late = scheme.late.pop(now, [])
        if not OPENS <= local.hour < CLOSES or not FIRST <= local.date() <= self.last_day:
            return late
        events = late
        if not scheme.supplied:
            scheme.supplied = True
            events += [
                self._event("supply", s, now, cups=network.cups(cup_300=5000, cup_450=5000)) for s in scheme.sites
            ]
            events += [
                self._event("issue", s, now, issued=network.cups(cup_300=200, cup_450=200)) for s in scheme.sites
            ]
        expected = len(scheme.sites) * self.each_day * (TICK / timedelta(hours=CLOSES - OPENS))
        count = int(expected + self.rng.random())
        for _ in range(count):
            event = self._sale(scheme, now)
            if event["kind"] in ("issue", "return") and self.rng.random() < LATE:
                scheme.late.setdefault(now + DAY, []).append(event)
            else:
                events.append(event)
        scheme.undelivered += [e for e in events if e["kind"] == "dispatch"]
        return events

    def one(self, now, rng):
        """An issue at any site that trades, or None. Others may ask for the trade meanwhile."""
        at_work = [s for s in self.schemes if s.supplied and FIRST <= now.astimezone(s.zone).date() <= self.last_day]
        site = rng.choice(rng.choice(at_work).sites) if at_work else None
        return site and new_event(rng, "issue", site, now, issued=network.cups(cup_300=1))

    def _event(self, *stated, **members):
        return new_event(self.rng, *stated, **members)

    def _cups(self):
        return [{"cup_type": self.rng.choice(CUPS), "quantity": self.rng.choice((1, 1, 1, 2, 3))}]

    def _sale(self, scheme, now):
        """More cups go out than come back. Dispatches arrive in whole, in a later quarter of an hour: the events of one
        quarter are posted in any order."""
        drawn, site = self.rng.random(), self.rng.choice(scheme.sites)
        if drawn < 0.48:
            return self._event("issue", site, now, issued=self._cups())
        if drawn < 0.88:
            return self._event("return", site, now, returned=self._cups(), tender=self.rng.choice(("cash", "card")))
        if drawn < 0.93:
            return self._event("exchange", site, now, returned=self._cups(), issued=self._cups())
        if drawn < 0.965 and scheme.undelivered:
            sent = scheme.undelivered.pop(0)
            return self._event("receipt", sent["to"], now, cups=sent["cups"], dispatch=sent["event_id"])
        to = self.rng.choice(scheme.sites)
        if to == site:
            return self._event("issue", site, now, issued=self._cups())
        return self._event("dispatch", site, now, cups=network.cups(cup_300=20), to=to)


def new_event(rng, kind, site, when, **members):
    event_id = str(UUID(int=rng.getrandbits(128), version=4))
    return {"event_id": event_id, "kind": kind, "site": site, "occurred_at": when.isoformat(), **members}


def arrays(events, size):
    """Bodies of so many events each."""
    for first in range(0, len(events), size):
        part = events[first : first + size]
        yield len(part), json.dumps(part, separators=(",", ":")).encode()
