# SPDX-License-Identifier: ISC
"""A naive second bookkeeper: one scheme's ledger in dicts of int, written from the accounting contract alone.

It shares no code with the service and never optimises: it is slow, short and easy to check by hand. Amounts are minor
units. `Model.post` gives the answer that the service must give for an event, and `Model.close` gives the settlement;
`balances` gives the accounts by the names that /v1/accounts uses.
"""
from calendar import monthrange
from collections import Counter, defaultdict
from datetime import date, datetime, time, timedelta, timezone
from decimal import Decimal
from fractions import Fraction
from itertools import repeat
from zoneinfo import ZoneInfo

import named_cups

DECIMALS = {"CAD": 2, "NOK": 2, "NZD": 2, "USD": 2, "ISK": 0, "KWD": 3}  # ISO 4217 list one
DAY = timedelta(days=1)

# The accounts that count cups, and the deposits that are owed for these cups. None: the cups are outside of the pool.
DEPOSITS_FOR = {
    "supply": None,
    "site_stock": "stock_deposits",
    "damaged": "stock_deposits",
    "in_transit": "transit_deposits",
    "with_customers": "customer_deposits",
    "retired": None,
    "unaccounted": None,
    "visiting": None,
    "abroad": None,
}


class Refused(Exception):
    """The event records nothing; the argument is the reason."""


def instant(text):
    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(timezone.utc)


def day_start(day, cut_off, zone):
    """Ambiguous local times are the later instant, skipped ones lie after the gap: in both cases the later of the two
    folds."""
    local = datetime.combine(day, time.fromisoformat(cut_off), ZoneInfo(zone))
    return max(local.replace(fold=fold).astimezone(timezone.utc) for fold in (0, 1))


def fewest_payments(positions):
    """k - z by trying every subset: z is the largest number of disjoint zero-sum groups (Verhoeff 2004, see check
    values)."""
    nonzero = [p for p in positions if p]
    groups = [0] * (1 << len(nonzero))
    for subset in range(1, len(groups)):
        members = [i for i in range(len(nonzero)) if subset >> i & 1]
        groups[subset] = max(groups[subset ^ 1 << i] for i in members) + (sum(nonzero[i] for i in members) == 0)
    return len(nonzero) - groups[-1]


class Entry:
    def __init__(self, kind, event, occurred, day, legs):
        self.kind, self.event, self.occurred, self.day = kind, event, occurred, day
        self.legs = {account: value for account, value in legs.items() if value}
        self.answer = None
        self.reversed_by = None
        self.agreed = {}  # home of returned cups -> minor units that it owes, in the agreed currency


class Model:
    def __init__(self, reference, code):
        """`reference` is a document as POST /v1/reference takes it; `code` is the scheme whose books the model
        keeps."""
        self.scheme = next(s for s in reference["schemes"] if s["scheme"] == code)
        self.on_deposit = self.scheme["stock_terms"] == "on_deposit"
        self.decimals = DECIMALS[self.scheme["currency"]]
        self.sites = {s["site"]: s for s in reference["sites"] if s["scheme"] == code}
        self.participants = {
            p["participant"]: p
            for p in reference["participants"]
            if any(s["participant"] == p["participant"] for s in self.sites.values())
        }
        self.cup_types = [c["cup_type"] for c in reference["cup_types"]]
        self.first_day = min(date.fromisoformat(t["effective_date"]) for t in self.scheme["terms"])
        self.next_day = self.first_day  # the earliest open day
        self.books_closed_through = self.first_day - DAY
        # day -> account -> sum of legs; closed days are added up under None
        self.movements = defaultdict(Counter)
        self.balances = Counter()  # account -> sum of all legs
        self.entries = []
        self.by_id = {}
        self.arrivals = defaultdict(list)  # dispatch event id -> its receipts and losses
        self.shipments = {}  # dispatch id -> a shipment of the opening, as if it were a dispatch
        self.asked_for = {}  # shipment -> the request, as people stated it
        self.batches = {}  # code of a batch that went to a re-maker -> (site, {cup type: cups})
        self.bearers = {}  # event id of a loss -> who bears it, as decided when it was posted
        self.paid_out = set()  # participants that have had a payout
        self.stock_legs = defaultdict(list)  # account of sound stock -> (occurred, cups)
        # values from a date on, in place of tax_registered of a participant and kind of a site
        self.registrations = reference.get("tax_registrations", [])
        self.kinds = reference.get("site_kinds", [])
        # (posting day, site) -> (day whose fees count, "issued" or "returned", cup type) -> cups
        self.counted = defaultdict(Counter)
        self.carried_since = {}
        self.gross_fees = {}  # (day, site) -> service fee and its tax, handling fee and its tax
        self.bank_lines = {}  # amount by number, until somebody says what it was
        # The bank's statements: last day, what it opens and closes with, and its lines
        self.statements = []
        self.has_read_statement = False
        # Agreements with other schemes, and the models of these, by code
        self.agreements, self.others = [], {}
        self.reached = Counter()  # host -> how many of its entries were looked at for cups of this scheme
        self.followers = {}  # event id of a host -> the entry that followed it
        self.agreed_to, self.paid_to = Counter(), Counter()  # (host, day) and host -> minor units, agreed currency

    # Reference data ------------------------------------------------------------------------------------------------
    def minor(self, amount):
        return int(Decimal(amount).scaleb(self.decimals))

    def amount(self, minor):
        return f"{Decimal(minor).scaleb(-self.decimals):.{self.decimals}f}"

    def _in_force(self, rows, day):
        return max((r for r in rows if r["effective_date"] <= day.isoformat()), key=lambda r: r["effective_date"])

    def value(self, cup_type, day):
        """None: the cup type has no value yet."""
        rows = [
            r
            for r in self.scheme["refund_values"]
            if r["cup_type"] == cup_type and r["effective_date"] <= day.isoformat()
        ]
        return self.minor(self._in_force(rows, day)["amount"]) if rows else None

    def terms(self, day):
        return self._in_force(self.scheme["terms"], day)

    def has_ended(self, day):
        return day.isoformat() > self.scheme.get("closed_on", "9999-12-31")

    def pays_on(self, day):
        """Whether positions are settled at the close of the day."""
        pay_days = self.terms(day).get("pay_days", "daily")
        length = monthrange(day.year, day.month)[1]
        return pay_days == "daily" or any(
            day.strftime("%a").lower() == named if isinstance(named, str) else day.day == min(named, length)
            for named in pay_days
        )

    def next_pay_day(self, day):
        day += DAY
        while not self.pays_on(day):
            day += DAY
        return day

    def registered(self, participant, day):
        rows = [r for r in self.registrations if r["participant"] == participant]
        rows = [r for r in rows if r["effective_date"] <= day.isoformat()]
        return (self._in_force(rows, day) if rows else self.participants[participant]).get("tax_registered", True)

    def kind(self, site, day):
        rows = [k for k in self.kinds if k["site"] == site and k["effective_date"] <= day.isoformat()]
        return (self._in_force(rows, day) if rows else self.sites[site])["kind"]

    def start(self, day):
        return day_start(day, self.scheme["cut_off"], self.scheme["time_zone"])

    def day_of(self, when):
        day = when.date() + 2 * DAY
        while self.start(day) > when:
            day -= DAY
        return day

    # Posting -------------------------------------------------------------------------------------------------------
    def post(self, event):
        if reason := named_cups.fault(event):
            raise Refused(reason)
        event = named_cups.with_ids(event, lambda ids: [named_cups.canonical(cup) for cup in ids])
        known = self.by_id.get(event["event_id"])
        if known:
            if {**self._as_recorded(event), "occurred_at": known.occurred} != {
                **self._as_recorded(known.event),
                "occurred_at": instant(event["occurred_at"]),
            }:
                raise Refused("event_id_conflict")
            return {**known.answer, "status": "duplicate"}
        kind, occurred = event["kind"], instant(event["occurred_at"])
        occurrence = self.day_of(occurred)
        if kind == "reversal":
            occurrence = max(occurrence, self._original(event).day)
        day = max(occurrence, self.next_day)
        if self.has_ended(occurrence) and kind in ("issue", "exchange", "supply"):
            raise Refused("scheme_ended")
        for c in (c for m in ("returned", "issued", "cups", "places") for c in event.get(m, [])):
            if "home" in c:
                self._agreement(c, occurrence)
            if self.value(c["cup_type"], day) is None:
                raise Refused("no_refund_value")
        self._homes_can_follow(event, occurred, occurrence)
        legs, exceptions = getattr(self, "_" + kind)(event, day, occurrence)
        if occurrence < self.next_day:
            exceptions.append({"exception": "late"})
        site = self.sites.get(event.get("site"))
        if site and occurrence.isoformat() > site.get("closed_on", "9999-12-31"):
            exceptions.append({"exception": "site_closed"})
        entry = self._record(Entry(kind, event, occurred, day, legs))
        entry.agreed = self._agreed(event, occurrence)
        exceptions += self._negative_stock(entry) + self._beyond_visiting(entry)
        if kind in ("return", "exchange"):  # the balance that the entry takes from customers
            exceptions += [
                {"exception": "over_returned", "cup_type": self.unit(a)}
                for a, n in entry.legs.items()
                if a.startswith("with_customers(") and n < 0 and self.balances[a] < 0
            ]
        self.by_id[event["event_id"]] = entry
        entry.answer = {
            "event_id": event["event_id"],
            "status": "recorded",
            "business_date": day.isoformat(),
            "late": occurrence < self.next_day,
            "exceptions": exceptions,
        }
        return entry.answer

    def _as_recorded(self, event):
        """A loss that leaves its bearer open is recorded with the one that was decided on."""
        return {"bearer": self.bearers[event["event_id"]], **event} if event["event_id"] in self.bearers else event

    def _record(self, entry):
        for unit in [None, *self.cup_types]:
            assert sum(v for a, v in entry.legs.items() if self.unit(a) == unit) == 0, (entry.kind, entry.legs)
        self.entries.append(entry)
        if entry.kind in ("receipt", "transit_loss"):
            self.sender_of(entry.event).arrivals[entry.event["dispatch"]].append(entry)
        for account, value in entry.legs.items():
            if account.startswith("site_stock("):
                # an opening is as of the start of its day, whatever instant in that day it states
                self.stock_legs[account].append(
                    (self.start(entry.day) if entry.kind == "opening" else entry.occurred, value)
                )
        self.movements[entry.day].update(entry.legs)
        self.balances.update(entry.legs)
        return entry

    @staticmethod
    def unit(account):
        """The cup type of a cup account, None for money."""
        name, _, names = account.partition("(")
        return names.rstrip(")").split(",")[-1] if name in DEPOSITS_FOR else None

    def _negative_stock(self, entry):
        return [
            {"exception": "negative_stock", "cup_type": self.unit(a), "quantity": self.balances[a]}
            for a, v in entry.legs.items()
            if a.startswith(("site_stock(", "damaged(")) and v < 0 and self.balances[a] < 0
        ]

    def _beyond_visiting(self, entry):
        """How many of the cups that this dispatch sends home are more than visited."""
        return [
            {"exception": "beyond_visiting", "cup_type": self.unit(a), "quantity": min(v, self.balances[a])}
            for a, v in entry.legs.items()
            if entry.kind == "dispatch" and a.startswith("visiting(") and self.balances[a] > 0
        ]

    @staticmethod
    def _cups(event, member):
        return [(c["cup_type"], c.get("quantity"), c.get("condition") == "damaged") for c in event.get(member, [])]

    @staticmethod
    def _stock(site, cup_type, damaged=False):
        return f"{'damaged' if damaged else 'site_stock'}({site},{cup_type})"

    # The counter: issue, return and exchange are one rule
    def _counter(self, event, day, occurrence):
        site, legs, exceptions = event["site"], Counter(), []
        tariff = deposits = 0
        without = set()
        homes = [c.get("home") for c in event.get("returned", [])]
        for sign, member in ((1, "issued"), (-1, "returned")):
            for (cup, n, damaged), home in zip(
                self._cups(event, member), homes if member == "returned" else repeat(None)
            ):
                worth = n * self.value(cup, day)
                then = self.value(cup, occurrence)
                if then is None:
                    without.add(cup)
                tariff += sign * n * (self.value(cup, day) if then is None else then)
                deposits += sign * worth
                legs.update({self._stock(site, cup, damaged): -sign * n})
                if home:
                    legs.update({f"visiting({home},{cup})": -n})
                else:
                    legs.update({f"with_customers({cup})": sign * n})
                    legs.update({f"customer_deposits({cup})": -sign * worth})
                if self.on_deposit:
                    legs.update({f"stock_deposits({site},{cup})": sign * worth})
                self.counted[day, site][day, member, cup] += n
        till = tariff
        if "amount" in event:
            stated = self.minor(event["amount"]) * (-1 if event["kind"] == "return" else 1)
            if stated != tariff:
                exceptions.append({"exception": "off_tariff", "amount": self.amount(stated - tariff)})
            if self.terms(occurrence).get("variance_terms", "absorb") == "absorb":
                till = stated
        if tariff != deposits:
            exceptions.append({"exception": "late_tariff", "amount": self.amount(tariff - deposits)})
        exceptions += [{"exception": "no_tariff", "cup_type": cup} for cup in sorted(without)]
        legs[f"site_clearing({site})"] += till - (deposits if self.on_deposit else 0)
        for home, exact in self._agreed(event, occurrence).items():
            legs[f"between_schemes({home},{self.code})"] += self._booked(
                exact, self._in_force_with(home, self.code, occurrence)
            )
        legs["refund_variance"] -= sum(v for a, v in legs.items() if not self.unit(a))
        return legs, exceptions

    _issue = _return = _exchange = _counter

    # Cups that carry another scheme's deposit, their home
    @property
    def code(self):
        return self.scheme["scheme"]

    def _in_force_with(self, home, host, day):
        rows = [
            a
            for a in self.agreements
            if (a["home"], a["host"]) == (home, host) and a["effective_date"] <= day.isoformat()
        ]
        return self._in_force(rows, day) if rows else {"values": {}}

    def _agreement(self, line, occurrence):
        each = self._in_force_with(line["home"], self.code, occurrence)["values"].get(line["cup_type"])
        if each is None:
            raise Refused("not_agreed")
        return each

    def _homes_can_follow(self, event, occurred, occurrence):
        lines = [(line, line["home"]) for line in event.get("returned", []) if "home" in line]
        to = self._home_of(event["to"]) if event["kind"] == "dispatch" else None
        if to and self._ever_agreed(to, self.code, occurrence):
            lines += [(line, to) for line in event["cups"]]
        for line, code in lines:
            home = self.others[code]
            if occurred < home.start(home.first_day):
                raise Refused("before_first_day")
            if home.value(line["cup_type"], max(home.day_of(occurred), home.next_day)) is None:
                raise Refused("no_refund_value")

    def _agreed(self, event, occurrence):
        if event["kind"] == "reversal":
            return {home: -exact for home, exact in self.by_id[event["reverses"]].agreed.items()}
        agreed = Counter()
        for line in (c for c in event.get("returned", []) if "home" in c):
            agreed[line["home"]] += line["quantity"] * self._agreement(line, occurrence)
        return dict(agreed)

    def _booked(self, exact, agreement):
        """In this scheme's currency. The scheme with the other currency rounds half to even, as Fraction does."""
        if agreement["of"] == ("host" if agreement["host"] == self.code else "home"):
            return exact
        other = self.others[agreement["home"] if agreement["host"] == self.code else agreement["host"]]
        return round(Fraction(exact, 10**other.decimals) * Fraction(agreement["rate"]) * 10**self.decimals)

    def follow(self, host):
        """Books what the host has recorded of this scheme's cups since the last time, one for one."""
        for entry in host.entries[self.reached[host.code] :]:
            if self.code not in entry.agreed:
                continue
            if entry.kind == "reversal":
                mine = self.followers[entry.event["reverses"]]
                mine.reversed_by = entry.event["event_id"]
                day = max(self.day_of(entry.occurred), mine.day, self.next_day)
                legs = Counter({account: -value for account, value in mine.legs.items()})
                legs.update(self._remeasured({a: v for a, v in legs.items() if self.unit(a)}, mine.day, day))
                self.agreed_to[host.code, day] += entry.agreed[self.code]
                self._record(Entry("reversal_abroad", None, entry.occurred, day, legs))
                continue
            day, legs = max(self.day_of(entry.occurred), self.next_day), Counter()
            for line in (c for c in entry.event["returned"] if c.get("home") == self.code):
                cup, n = line["cup_type"], line["quantity"]
                legs.update({f"with_customers({cup})": -n, f"abroad({host.code},{cup})": n})
                legs.update({f"customer_deposits({cup})": n * self.value(cup, day)})
            agreement = self._in_force_with(self.code, host.code, host.day_of(entry.occurred))
            legs[f"between_schemes({self.code},{host.code})"] -= self._booked(entry.agreed[self.code], agreement)
            legs["refund_variance"] -= sum(v for a, v in legs.items() if not self.unit(a))
            self.agreed_to[host.code, day] += entry.agreed[self.code]
            self.followers[entry.event["event_id"]] = self._record(
                Entry("return_abroad", None, entry.occurred, day, legs)
            )
        self.reached[host.code] = len(host.entries)

    # Moving cups
    def _supply(self, event, day, _):
        site, legs = event["site"], Counter()
        if event.get("batch", None) not in (None, *self.batches):
            raise Refused("batch_unknown")
        for cup, n, _ in self._cups(event, "cups"):
            legs.update({f"supply({cup})": -n, self._stock(site, cup): n})
            if self.on_deposit:
                worth = n * self.value(cup, day)
                legs.update({f"site_clearing({site})": worth, f"stock_deposits({site},{cup})": -worth})
        return legs, []

    def _home_of(self, site):
        """The other scheme that the site belongs to, or None."""
        return next((code for code, other in self.others.items() if site in other.sites), None)

    def _ever_agreed(self, home, host, day="9999-12-31"):
        return any((a["home"], a["host"]) == (home, host) and a["effective_date"] <= str(day) for a in self.agreements)

    def _dispatch(self, event, day, occurrence):
        """Cups that go to another scheme's site visit, and go home."""
        site, legs, home = event["site"], Counter(), self._home_of(event["to"])
        if home and not self._ever_agreed(home, self.code, occurrence):
            raise Refused("site_in_other_scheme")
        for cup, n, damaged in self._cups(event, "cups"):
            legs.update(
                {self._stock(site, cup, damaged): -n, f"visiting({home},{cup})" if home else f"in_transit({cup})": n}
            )
            if self.on_deposit:
                worth = n * self.value(cup, day)
                legs.update({f"stock_deposits({site},{cup})": worth})
                legs.update({f"site_clearing({site})" if home else f"transit_deposits({cup})": -worth})
        return legs, []

    def sender_of(self, event):
        """The model of the scheme that sent the cups which arrive, or are lost."""
        return self.others[event["host"]] if "host" in event else self

    def _arrivals(self, dispatch):
        return [e for e in self.arrivals[dispatch.event["event_id"]] if not e.reversed_by]

    def _open(self, dispatch):
        """The cups that have neither arrived nor been given up, by (cup type, damaged). A cup that broke on the way is
        one cup too many of the damaged and one cup short of the sound."""
        still = Counter()
        if not dispatch.reversed_by:
            still.update({(cup, damaged): n for cup, n, damaged in self._cups(dispatch.event, "cups")})
        for arrival in self._arrivals(dispatch):
            still.subtract({(cup, damaged): n for cup, n, damaged in self._cups(arrival.event, "cups")})
        return still

    def dispatch(self, event_id):
        return self.shipments.get(event_id) or self.by_id.get(event_id)

    def _dispatch_of(self, event):
        if "host" in event and not self._ever_agreed(self.code, event["host"]):
            raise Refused("not_agreed")
        dispatch = self.sender_of(event).dispatch(event["dispatch"])
        if not dispatch:
            raise Refused("event_unknown")
        if "host" in event and dispatch.event.get("to") not in self.sites:
            raise Refused("event_unknown")
        if dispatch.kind != "dispatch":
            raise Refused("not_a_dispatch")
        if "host" not in event and dispatch.event["to"] not in self.sites:
            raise Refused("site_in_other_scheme")
        return dispatch

    def fulfils(self, dispatch):
        """The request that a dispatch names, if it goes between the two sites that were asked; else None."""
        request = self.asked_for.get(dispatch.event.get("shipment"), {})
        way = [dispatch.event.get(end) for end in ("site", "to")]
        return request if way == [request.get("site"), request.get("to")] else None

    def _agreed_bearer(self, dispatch):
        """An agreement binds the two sites that were asked. Other sites may name the shipment, but are not bound."""
        return (self.fulfils(dispatch) or {}).get("bearer")

    def _more_than(self, still, event, name):
        over = []
        for cup, n, damaged in self._cups(event, "cups"):
            if n > max(still[cup, damaged], 0):
                over.append({"exception": name, "cup_type": cup})
            still[cup, damaged] -= n
        return over

    def _receipt(self, event, day, _):
        site, dispatch, legs, exceptions = event["site"], self._dispatch_of(event), Counter(), []
        sender, host = dispatch.event["site"], event.get("host")
        still = self.sender_of(event)._open(dispatch)
        for cup, n, damaged in self._cups(event, "cups"):
            legs.update(
                {f"abroad({host},{cup})" if host else f"in_transit({cup})": -n, self._stock(site, cup, damaged): n}
            )
            if self.on_deposit and host:
                worth = n * self.value(cup, day)
                legs.update({f"stock_deposits({site},{cup})": -worth, f"site_clearing({site})": worth})
            elif self.on_deposit:
                worth, then = n * self.value(cup, day), n * (self.value(cup, dispatch.day) or self.value(cup, day))
                legs.update({f"transit_deposits({cup})": worth, f"stock_deposits({site},{cup})": -worth})
                legs.update({f"site_clearing({site})": worth})
                legs.update({f"site_clearing({sender})": -then, "refund_variance": then - worth})
        exceptions += self._more_than(still, event, "receipt_over")
        exceptions += [
            {"exception": "receipt_short", "cup_type": c, "quantity": n} for (c, _), n in still.items() if n > 0
        ]
        if site != dispatch.event["to"]:
            exceptions.append({"exception": "receipt_elsewhere"})
        return legs, exceptions

    def _transit_loss(self, event, day, _):
        dispatch, legs = self._dispatch_of(event), Counter()
        sender, receiver, host = dispatch.event["site"], dispatch.event["to"], event.get("host")
        if event["site"] != (receiver if host else sender):
            raise Refused("site_differs")
        still = self.sender_of(event)._open(dispatch)
        agreed = self.sender_of(event)._agreed_bearer(dispatch)
        bearer = event.get("bearer") or agreed or self.scheme.get("loss_bearer", "receiver")
        if host and bearer == "sender":
            raise Refused("bearer_in_other_scheme")
        self.bearers[event["event_id"]] = bearer
        for cup, n, _ in self._cups(event, "cups") if host else ():
            legs.update({f"abroad({host},{cup})": -n, f"unaccounted({cup})": n})
            if bearer == "receiver":
                worth = n * self.value(cup, day)
                legs.update({f"site_clearing({receiver})": worth, "loss_charges": -worth})
        for cup, n, _ in () if host else self._cups(event, "cups"):
            worth = n * self.value(cup, day)
            then = n * (self.value(cup, dispatch.day) or self.value(cup, day))
            legs.update({f"in_transit({cup})": -n, f"unaccounted({cup})": n})
            if self.on_deposit:
                legs.update({f"transit_deposits({cup})": worth, "loss_charges": -worth})
                if bearer != "sender":  # the sender gets back the deposit that it placed when it sent them
                    legs.update({f"site_clearing({sender})": -then, "refund_variance": then - worth})
                if bearer == "receiver":
                    legs.update({f"site_clearing({receiver})": worth})
                if bearer == "operator":
                    legs.update({"loss_charges": worth})
            elif bearer != "operator":
                legs.update(
                    {f"site_clearing({sender if bearer == 'sender' else receiver})": worth, "loss_charges": -worth}
                )
        return legs, self._more_than(still, event, "loss_over")

    def _damage(self, event, day, _):
        legs = Counter()
        for cup, n, _ in self._cups(event, "cups"):
            legs.update({self._stock(event["site"], cup): -n, self._stock(event["site"], cup, True): n})
        return legs, []

    def _retire(self, event, day, _):
        site, legs = event["site"], Counter()
        for cup, n, _ in self._cups(event, "cups"):
            legs.update({self._stock(site, cup, True): -n, f"retired({cup})": n})
            if self.on_deposit:
                worth = n * self.value(cup, day)
                legs.update({f"stock_deposits({site},{cup})": worth, f"site_clearing({site})": -worth})
        return legs, []

    def retired_at(self, site):
        """cup type -> the cups that were retired at the site, reversals taken off"""
        cups = Counter()
        for entry in self.entries:
            if entry.kind == "retire" and not entry.reversed_by and entry.event["site"] == site:
                cups.update({cup: n for cup, n, _ in self._cups(entry.event, "cups")})
        return cups

    def batched_at(self, site):
        """cup type -> the cups that batches took from the site to a re-maker"""
        return sum((Counter(cups) for at, cups in self.batches.values() if at == site), Counter())

    def _count(self, event, day, occurrence):
        site, when, legs, exceptions = event["site"], instant(event["occurred_at"]), Counter(), []
        for line in event["cups"]:
            cup, account = line["cup_type"], self._stock(site, line["cup_type"])
            off = line["counted"] - sum(n for occurred, n in self.stock_legs[account] if occurred <= when)
            worth = off * self.value(cup, day)
            legs.update({account: off, f"unaccounted({cup})": -off})
            if self.on_deposit:
                legs.update({f"stock_deposits({site},{cup})": -worth, "loss_charges": worth})
            elif self.terms(occurrence)["shortage_terms"] == "charge":
                legs.update({f"site_clearing({site})": -worth, "loss_charges": worth})
            if abs(off) > self.scheme.get("count_tolerance", 0):
                exceptions.append({"exception": "count_off", "cup_type": cup, "quantity": off})
        return legs, exceptions

    # Journals, the bank's lines, and the operator's own money
    JOURNALS_MOVE = {
        *("bank", "bank_suspense", "service_fees", "forfeits", "loss_charges", "interest", "handling_fees"),
        *("bank_charges", "tax", "refund_variance", "operator_account"),
    }

    def close_months(self, last):
        """Two people have closed the month that ends on this day, and those before, for journals."""
        self.books_closed_through = last

    def _journal(self, event, _, occurrence):
        legs = Counter()
        if occurrence <= self.books_closed_through:
            raise Refused("month_closed")
        for leg in event["legs"]:
            name, _, owner = leg["account"].rstrip(")").partition("(")
            if name not in self.JOURNALS_MOVE:
                known = {"arrears": self.participants, "site_clearing": self.sites}.get(name)
                if known is None:
                    raise Refused("not_for_journals")
                if owner not in known:
                    raise Refused("account_unknown")
            if name == "bank" and self.has_read_statement:
                raise Refused("bank_by_statement")
            legs[leg["account"]] += self.minor(leg["amount"])
        if sum(legs.values()):
            raise Refused("unbalanced")
        taken = min(legs["operator_account"], -legs["bank"])
        today = self.day_of(datetime.now(timezone.utc))
        beyond = taken - max(self.withdrawable(today), 0) if taken > 0 else 0
        return legs, [{"exception": "taken_out_beyond", "amount": self.amount(beyond)}] if beyond > 0 else []

    def read_line(self, number, amount, today):
        """A line of the bank's that names no payment; it is booked in the day of now."""
        self.has_read_statement = True
        self.bank_lines[number] = amount
        self._record(Entry("bank_line", None, None, today, {"bank": amount, "bank_suspense": -amount}))

    def read_statement(self, day, opening, amounts, closing):
        """A statement of the day, of one account. Days differ."""
        self.statements = sorted([*self.statements, (day, opening, amounts, closing)], key=lambda s: s[0])

    def breaks(self):
        """(day, amount): by how much a statement opens with more than the last one closed with, or closes with more
        than its opening and its lines sum to."""
        found, before = [], None
        for day, opening, amounts, closing in self.statements:
            found += [(day, opening - before)] if before not in (None, opening) else []
            found += [(day, closing - opening - sum(amounts))] if closing != opening + sum(amounts) else []
            before = closing
        return found

    def reconciliation(self):
        """The account at the bank, and the way from it to the ledger: the account before the first statement, by the
        bank and by what journals and the opening say; and the breaks. The bank's lines are posted when they are read,
        so nothing is in transit."""
        said = sum(e.legs.get("bank", 0) for e in self.entries if e.kind in ("journal", "opening", "reversal"))
        if not self.statements:
            return {"said": said}
        return {"closing": self.statements[-1][3], "opening": -self.statements[0][1], "said": said}

    def resolve_line(self, number, account, today):
        """A line turns out to be a charge, interest, or the operator's own money. The amount that the operator took
        out beyond what was free before the line; 0: it did not."""
        amount = self.bank_lines[number]
        free_before = max(self.withdrawable(today) + (-amount if amount < 0 else 0), 0)
        del self.bank_lines[number]
        self._record(Entry("bank_line_resolved", None, None, today, {"bank_suspense": amount, account: -amount}))
        return max(-amount - free_before, 0) if account == "operator_account" and amount < 0 else 0

    def withdrawable(self, today):
        """The money at the bank less all that is owed to others. Nothing that others owe is counted."""
        have = self.balances

        def worth(place):
            """The deposits for the cups there, by cup type, at today's value. So much is held once all days until now
            are closed."""
            return [
                (self.value(cup, today) or 0)
                * sum(n for a, n in have.items() if a.startswith(place) and self.unit(a) == cup)
                for cup in self.cup_types
            ]

        owed = sum(max(d, 0) for d in worth("with_customers("))
        if self.on_deposit:
            at_sites = [sound + damaged for sound, damaged in zip(worth("site_stock("), worth("damaged("))]
            owed += sum(max(d, 0) for d in at_sites + worth("in_transit("))
        for participant in self.participants:
            dealings = 0
            for code in (c for c, s in self.sites.items() if s["participant"] == participant):
                dealings += have[f"site_clearing({code})"]
                if self.on_deposit:  # and the deposits that the site has still to place, because values have changed
                    for cup in self.cup_types:
                        cups = have[self._stock(code, cup)] + have[self._stock(code, cup, True)]
                        dealings += cups * (self.value(cup, today) or 0) + have[f"stock_deposits({code},{cup})"]
            for due in (dealings, have[f"settlement_due({participant})"], have[f"arrears({participant})"]):
                owed += max(-due, 0)
        owed += max(-have["tax"], 0)
        owed += sum(max(-v, 0) for a, v in have.items() if a.startswith(("between_schemes(", "settlement_due_scheme(")))
        unidentified = -have["bank_suspense"] + sum(-a for a in self.bank_lines.values() if a < 0)
        return have["bank"] - owed - max(unidentified, 0)

    # The opening, on which two people agreed before any other entry
    @property
    def opened(self):
        return bool(self.entries) and self.entries[0].kind == "opening"

    def _opening(self, event, day, occurrence):
        if self.entries:
            raise Refused("opening_too_late")
        if occurrence != self.first_day:
            raise Refused("opening_not_on_first_day")
        if self.next_day != self.first_day:
            raise Refused("first_day_closed")
        legs = Counter()
        for line in event["places"]:
            cup, n, site = line["cup_type"], line["quantity"], line.get("site")
            stock = self._stock(site, cup, line.get("condition") == "damaged")
            legs.update({f"supply({cup})": -n, stock if site else f"{line['place']}({cup})": n})
            if site and self.on_deposit:
                legs[f"stock_deposits({site},{cup})"] -= n * self.value(cup, day)
            if line.get("place") == "with_customers":
                legs[f"customer_deposits({cup})"] -= n * self.value(cup, day)
        for shipment in event.get("shipments", []):
            self.shipments[shipment["dispatch"]] = Entry(
                "dispatch", {**shipment, "event_id": shipment["dispatch"]}, None, day, {}
            )
            for cup, n, _ in self._cups(shipment, "cups"):
                legs.update({f"supply({cup})": -n, f"in_transit({cup})": n})
                if self.on_deposit:
                    legs[f"transit_deposits({cup})"] -= n * self.value(cup, day)
        legs["bank"] += self.minor(event["bank"])
        for due in event.get("due", []):
            legs[f"arrears({due['participant']})"] += self.minor(due["amount"])
        legs["operator_account"] = -sum(n for account, n in legs.items() if not self.unit(account))
        return legs, []

    # Decisions of a person
    def _forfeits(self, event, day, sign):
        legs, rate = Counter(), Fraction(self.terms(day)["tax_rate"])
        for cup, n, _ in self._cups(event, "cups"):
            worth = n * self.value(cup, day)
            tax = round(worth * rate / (1 + rate))  # a Fraction rounds half to even
            legs.update(
                {
                    f"with_customers({cup})": -sign * n,
                    f"unaccounted({cup})": sign * n,
                    f"customer_deposits({cup})": sign * worth,
                    "forfeits": -sign * (worth - tax),
                }
            )
            legs.update({"tax": -sign * tax})
        return legs, []

    def _forfeit(self, event, day, _):
        self._must_be_there("forfeit", event)
        return self._forfeits(event, day, 1)

    def _reinstate(self, event, day, _):
        self._must_be_there("reinstate", event)
        return self._forfeits(event, day, -1)

    def _must_be_there(self, kind, event):
        """Forfeited cups must be out. Reinstated cups must have been forfeited and not yet reinstated."""
        for cup, n, _ in self._cups(event, "cups"):
            if kind == "forfeit" and n > self.balances[f"with_customers({cup})"]:
                raise Refused("more_than_out")
            if kind == "reinstate" and n > sum(
                m * (1 if e.kind == "forfeit" else -1)
                for e in self.entries
                if e.kind in ("forfeit", "reinstate") and not e.reversed_by
                for c, m, _ in self._cups(e.event, "cups")
                if c == cup
            ) + sum(
                line["quantity"]
                for e in self.entries
                if e.kind == "opening" and not e.reversed_by
                for line in e.event["places"]
                if line.get("place") == "unaccounted" and line["cup_type"] == cup
            ):
                raise Refused("more_than_forfeited")

    def _original(self, event):
        original = self.by_id.get(event["reverses"])
        if not original:
            raise Refused("event_unknown")
        if original.kind == "opening" and len(self.entries) > 1:
            raise Refused("opening_stands")
        if original.kind == "reversal":
            raise Refused("reversal_of_reversal")
        if original.kind == "journal":
            raise Refused("reversal_of_journal")
        if original.reversed_by:
            raise Refused("already_reversed")
        if original.kind == "dispatch" and self._arrivals(original):
            raise Refused("dispatch_arrived")
        if original.kind == "retire":  # cups that a batch has taken away stay retired
            site = original.event["site"]
            left = {cup: n - self.batched_at(site)[cup] for cup, n in self.retired_at(site).items()}
            if any(self.batched_at(site)[cup] and n > left[cup] for cup, n, _ in self._cups(original.event, "cups")):
                raise Refused("retired_in_batch")
        if original.kind in ("forfeit", "reinstate"):  # the reversal obeys the other's rules
            self._must_be_there("reinstate" if original.kind == "forfeit" else "forfeit", original.event)
        return original

    def _reversal(self, event, day, _):
        original = self._original(event)
        legs = Counter({account: -value for account, value in original.legs.items()})
        legs.update(self._remeasured({a: v for a, v in legs.items() if self.unit(a)}, original.day, day))
        for member in ("issued", "returned"):  # takes back the charge of that day, whatever today's fees are
            for cup, n, _ in self._cups(original.event, member):
                self.counted[day, original.event.get("site")][original.day, member, cup] -= n
        original.reversed_by = event["event_id"]
        if original.kind not in ("receipt", "transit_loss"):
            return legs, []
        dispatch = self._dispatch_of(original.event)  # cups that have arrived in part are short again
        sender = self.sender_of(original.event)
        arrived = any(e.kind == "receipt" for e in sender._arrivals(dispatch))
        return legs, [
            {"exception": "receipt_short", "cup_type": c, "quantity": n}
            for (c, _), n in sender._open(dispatch).items()
            if n > 0 and arrived
        ]

    # The close -----------------------------------------------------------------------------------------------------
    def _remeasured(self, cups, old_day, new_day):
        """Legs that change the deposits on `cups` (balances of cup accounts) from the values of a day to those of
        another."""
        legs = Counter()
        for account, n in cups.items():
            held, cup = DEPOSITS_FOR[account.partition("(")[0]], self.unit(account)
            if not n or not held or not (held == "customer_deposits" or self.on_deposit):
                continue
            change = n * (self.value(cup, new_day) - self.value(cup, old_day))
            if held == "stock_deposits":
                site = account.partition("(")[2].split(",")[0]
                legs.update({f"stock_deposits({site},{cup})": -change, f"site_clearing({site})": change})
            else:
                legs.update({f"{held}({cup})": -change, "refund_variance": change})
        return legs

    def through(self, day):
        total = Counter()
        for d, moved in self.movements.items():
            if d is None or d <= day:
                total.update(moved)
        return total

    def _fee(self, name, site, day, cup_type):
        """A fee of a day as (date of the terms, number of the row that gives it or None, minor units). A row that names
        the participant beats any that does not, then one that names the kind, then one that names the cup type."""
        terms, participant, kind = self.terms(day), self.sites[site]["participant"], self.kind(site, day)
        named = {"participant": participant, "site_kind": kind, "cup_type": cup_type}
        stating = [
            (number, row)
            for number, row in enumerate(terms.get("fees", []), 1)
            if name in row and all(row[n] == named[n] for n in named if n in row)
        ]
        if not stating:
            return terms["effective_date"], None, self.minor(terms.get(name, 0))
        number, row = max(stating, key=lambda r: [n in r[1] for n in ("participant", "site_kind", "cup_type")])
        return terms["effective_date"], number, self.minor(row[name])

    def _is_open(self, site, day):
        """Whether the site has a day after this one, as the scheme has."""
        opened, closed = site["opened_on"], site.get("closed_on", "9999-12-31")
        return opened <= day.isoformat() < closed and not self.has_ended(day + DAY)

    def _fees(self, site, day):
        """Posts the fees of a site's day. Each fee is a sum over cup types and rows, and is rounded once, as is its
        tax. Gives what the settlement says of them."""
        participant = self.sites[site]["participant"]
        lines = Counter()  # (fee, terms, row, each, tax rate) -> cups or months
        for (then, member, cup), n in self.counted[day, site].items():
            name, word = {"issued": ("service_fee", "service"), "returned": ("handling_fee", "handling")}[member]
            taxed = word == "service" or self.registered(participant, then)
            rate = Fraction(self.terms(then)["tax_rate"]) if taxed else Fraction(0)
            lines[(word, *self._fee(name, site, then, cup), rate)] += n
        if day.day == 1 and self._is_open(self.sites[site], day):
            terms, row, each = self._fee("monthly_fee", site, day, None)
            if row or each:
                lines["standing", terms, row, each, Fraction(self.terms(day)["tax_rate"])] += 1
        amount, tax = {}, {}
        for fee in ("service", "handling", "standing"):
            own = [(each, rate, n) for (word, _, _, each, rate), n in lines.items() if word == fee]
            amount[fee] = sum(each * n for each, _, n in own)
            tax[fee] = round(sum((each * n * rate for each, rate, n in own), Fraction(0)))
        fees = amount["service"] + amount["standing"] - amount["handling"]
        taxes = tax["service"] + tax["standing"] - tax["handling"]
        self.gross_fees[day, site] = (
            amount["service"] + amount["standing"],
            tax["service"] + tax["standing"],
            amount["handling"],
            tax["handling"],
        )
        self._record(
            Entry(
                "fees",
                None,
                None,
                day,
                Counter(
                    {
                        f"site_clearing({site})": fees + taxes,
                        "service_fees": -amount["service"] - amount["standing"],
                        "handling_fees": amount["handling"],
                        "tax": -taxes,
                    }
                ),
            )
        )
        figures = {"fees": fees, "tax": taxes}
        for fee in amount:
            figures |= {f"{fee}_fee": amount[fee], f"{fee}_tax": tax[fee]}
        return figures, {line: n for line, n in lines.items() if n}

    def _pay_pools(self, day, minimum):
        """host -> the payment to its pool. Less than the minimum waits, and so does what is in this scheme's favour, in
        its books or in the agreed currency. A payment stays unpaid here, as nobody releases it."""
        paid = {}
        for host in self.others if self.pays_on(day) else ():
            account = f"between_schemes({self.code},{host})"
            owed = -self.through(day)[account]
            agreed = sum(n for (to, d), n in self.agreed_to.items() if to == host and d <= day) - self.paid_to[host]
            if owed > 0 and agreed > 0 and owed >= minimum:
                paid[host] = owed
                self.paid_to[host] += agreed
                legs = {account: owed, f"settlement_due_scheme({host})": -owed}
                self._record(Entry("settle", None, None, day, Counter(legs)))
        return paid

    def close(self, day):
        assert day == self.next_day
        terms, opening = self.terms(day), self.through(day - DAY)
        fees = {site: self._fees(site, day) for site in self.sites}
        closing = self.through(day)
        positions, carried, arrears = {}, set(), {}
        for participant in self.participants:
            own = [s for s in self.sites.values() if s["participant"] == participant]
            arrears[participant] = closing[f"arrears({participant})"]
            position = sum(closing[f"site_clearing({s['site']})"] for s in own) + arrears[participant]
            positions[participant] = position
            is_open = any(self._is_open(s, day) for s in own)
            since = self.carried_since.get(participant, day)
            if not self.pays_on(day):
                carried.add(participant)
                if not position:
                    self.carried_since.pop(participant, None)
            elif (
                position
                and not arrears[participant]
                and abs(position) < self.minor(terms["minimum_payment"])
                and is_open
                and (day - since).days < self.scheme.get("carry_days", 30)
            ):
                carried.add(participant)
                self.carried_since[participant] = since
            else:
                self.carried_since.pop(participant, None)
        for code, site in self.sites.items():
            if site["participant"] not in carried:
                due = closing[f"site_clearing({code})"]
                self._record(
                    Entry(
                        "settle",
                        None,
                        None,
                        day,
                        Counter({f"site_clearing({code})": -due, f"settlement_due({site['participant']})": due}),
                    )
                )
        for participant in self.participants:
            if participant not in carried:
                due = arrears[participant]
                legs = {f"arrears({participant})": -due, f"settlement_due({participant})": due}
                self._record(Entry("settle", None, None, day, Counter(legs)))
        to_pools = self._pay_pools(day, self.minor(terms["minimum_payment"]))
        through = self.through(day)
        cups = {a: n for a, n in through.items() if self.unit(a)}
        self._record(Entry("remeasurement", None, None, day + DAY, self._remeasured(cups, day, day + DAY)))
        self.movements = defaultdict(
            Counter, {None: through, **{d: m for d, m in self.movements.items() if d and d > day}}
        )
        self.next_day = day + DAY
        return {
            "to_pools": to_pools,
            "positions": positions,
            "arrears": arrears,
            "carried": carried,
            "carried_since": dict(self.carried_since),
            "netting": terms["netting"],
            "next_pay_day": None if self.pays_on(day) else str(self.next_pay_day(day)),
            "sites": {
                s: {
                    "brought_forward": opening[f"site_clearing({s})"],
                    **fees[s][0],
                    "net": closing[f"site_clearing({s})"],
                }
                for s in self.sites
            },
            "fee_rows": {s: fees[s][1] for s in self.sites},
        }
