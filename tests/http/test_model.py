# SPDX-License-Identifier: ISC
"""Posts random days of every kind of event to the service and to the naive model, which must agree after each close.

DEPOSITD_MODEL_DAYS (default 60) is how many days, DEPOSITD_MODEL_SEED makes a run repeatable (printed on failure)."""
import os
import random
from collections import Counter, defaultdict
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from urllib.parse import quote
from uuid import UUID

import pytest

import bank
import named_cups
import network
from between import agree, followed
from harness import wait_until
from model import DAY, Model, Refused, fewest_payments, instant
from network import business_day

DAYS = int(os.environ.get("DEPOSITD_MODEL_DAYS", "60"))
SEED = int(os.environ.get("DEPOSITD_MODEL_SEED", "0")) or random.SystemRandom().randrange(1, 10**9)
FIRST_DAY = date.today() - timedelta(days=DAYS + 10)
ZONES = ["America/St_Johns", "Atlantic/Reykjavik", "Pacific/Auckland", "UTC"]
CUP_TYPES = ["cup-200", "cup-300", "cup-450", "cup-600"]
# has a value only from a later day: earlier events that name it are refused, late ones have no tariff
NEW_TYPE = "cup-600"
KINDS = {
    "issue": 32,
    "return": 22,
    "exchange": 10,
    "supply": 5,
    "dispatch": 8,
    "receipt": 10,
    "transit_loss": 3,
    "damage": 4,
    "retire": 3,
    "count": 4,
    "reversal": 6,
    "forfeit": 2,
    "reinstate": 2,
    "journal": 2,
}
BEARERS = ["sender", "receiver", "operator"]
MANY, DAYS_OF_MANY = 70, 3
NAMED = ["tern-bay", "eider-sound", *(f"bay-{n}" for n in range(MANY))]
OPERATORS = {
    code: {"name": "Pool", "bank_account": {"account": f"77{n}", "bank_code": "TB-0"}} for n, code in enumerate(NAMED)
}


def random_fees(rng, prefix, money):
    """Some rows of fees: each names what it likes and states one fee or more; no two name the same."""
    rows = {}
    for _ in range(rng.choice([0, 0, 1, 3, 8])):
        row = {}
        if rng.random() < 0.4:
            row["participant"] = f"{prefix}{rng.choice('abcde')}"
        if rng.random() < 0.4:
            row["site_kind"] = rng.choice(["cafe", "cafe", "hub", "return_point"])
        if rng.random() < 0.4:
            row["cup_type"] = rng.choice(CUP_TYPES)
        fees = ["service_fee", "handling_fee"] + ([] if "cup_type" in row else ["monthly_fee"])
        named = tuple(row.items())
        for fee in rng.sample(fees, rng.randint(1, len(fees))):
            row[fee] = money(0, 5) if fee != "monthly_fee" else money(0, 300)
        rows[named] = row
    standing = {"monthly_fee": money(0, 300)} if rng.random() < 0.6 else {}
    return {**standing, **({"fees": list(rows.values())} if rows else {})}


def dated_values(rng, sites, days=DAYS):
    """Registrations for tax and kinds of sites that change now and then, all known before the first event."""

    def dates():
        return sorted({FIRST_DAY + rng.randint(0, days) * DAY for _ in range(rng.choice([0, 1, 3]))})

    participants = sorted({row[1] for row in sites.values()})
    return {
        "tax_registrations": [
            {"participant": p, "effective_date": str(day), "tax_registered": rng.random() < 0.5}
            for p in participants
            for day in dates()
        ],
        "site_kinds": [
            {"site": s, "effective_date": str(day), "kind": rng.choice(["cafe", "hub", "return_point"])}
            for s in sites
            for day in dates()
        ],
    }


def random_scheme(rng, code, currency, zone, stock_terms, unit, prefix, days=DAYS):
    """A scheme for so many days. Values and terms change every week or three, and all are known before the first
    event."""

    def changes(make):
        day, rows = FIRST_DAY, []
        while day <= FIRST_DAY + (days + 10) * DAY:
            rows.append((day, make()))
            day += rng.randint(5, 21) * DAY
        return rows

    def money(low, high):
        return f"{unit * rng.randint(low, high):.{2 if unit < 1 else 0}f}"

    values = {cup: changes(lambda: money(20, 90)) for cup in CUP_TYPES}
    since = FIRST_DAY + rng.randint(3, max(4, days // 4)) * DAY
    values[NEW_TYPE] = [(since, money(20, 90))] + [(d, a) for d, a in values[NEW_TYPE] if d > since]
    terms = [
        {"effective_date": str(day), **t}
        for day, t in changes(
            lambda: {
                "netting": rng.choice(["central", "direct", "direct"]),
                "minimum_payment": money(*rng.choice([(0, 0), (100, 900)])),
                "service_fee": money(0, 4),
                "handling_fee": money(0, 3),
                "tax_rate": rng.choice(["0", "0.15", "0.25", "0.0875"]),
                "shortage_terms": rng.choice(["absorb", "charge"]),
                "variance_terms": rng.choice(["absorb", "charge"]),
                "pay_days": rng.choice(
                    [
                        "daily",
                        "daily",
                        rng.sample(["mon", "tue", "wed", "thu", "fri", "sat", "sun"], rng.randint(1, 3)),
                        rng.sample(range(1, 32), rng.randint(1, 4)),
                        [31],
                    ]
                ),
                **random_fees(rng, prefix, money),
            }
        )
    ]
    sites = {f"{prefix}-{n}": (code, f"{prefix}{who}") for n, who in enumerate("aabbccde")}
    last = f"{prefix}-7"
    sites[last] += ({"closed_on": str(FIRST_DAY + days // 3 * DAY)},)
    sites[f"{prefix}-6"] += ({"kind": "hub"},)
    scheme = network.scheme(
        code,
        FIRST_DAY,
        {},
        currency=currency,
        time_zone=zone,
        stock_terms=stock_terms,
        terms=terms,
        carry_days=rng.choice([4, 15]),
        loss_bearer=rng.choice(BEARERS),
        closed_on=str(FIRST_DAY + days * 7 // 8 * DAY),
        operator=OPERATORS[code],
        count_tolerance=rng.randint(0, 2),
        more_values=[(c, d, a) for c, rows in values.items() for d, a in rows],
    )
    return scheme, sites


class Stream:
    """Makes the events of a scheme. It looks at the model to make likely events: most cups exist, most dispatches
    arrive."""

    def __init__(self, rng, model, minor_step):
        self.rng, self.model, self.step = rng, model, minor_step
        self.sites = list(model.sites)
        self.names = named_cups.Names(rng, CUP_TYPES)
        self.wishes = {}  # shipment that dispatches may name -> the way that its cups shall go; people ask for some
        self.new_since = min(
            date.fromisoformat(v["effective_date"]) for v in model.scheme["refund_values"] if v["cup_type"] == NEW_TYPE
        )

    def day(self, day):
        """The events that are posted while `day` is the earliest open day: its own, late and early events, and
        replays."""
        rng, events = self.rng, []
        # of the day before it had a value, and so without a tariff
        if self.new_since <= day <= self.new_since + 2 * DAY:
            lines = [{"cup_type": NEW_TYPE, "quantity": rng.randint(1, 9)}]
            when = network.utc(self.model.start(self.new_since) - timedelta(seconds=rng.randint(1, 3600)))
            events.append(self._event("issue", when, self._site(), issued=lines))
        for _ in range(rng.randint(5, 45)):
            known = self.model.entries[-400:] + [None]
            if rng.random() < 0.06:
                entry = rng.choice(known)
                if entry and entry.event:
                    events.append(self._replay(entry.event))
            else:
                kind = rng.choices(list(KINDS), KINDS.values())[0]
                event = getattr(self, "_" + kind, self._plain)(kind, self._when(day))
                if event:
                    events.append(self.names.name(event, self._sent_with(event)))
            if events and (rng.random() < 0.5):
                yield events.pop()  # posted at once: later events may refer to it
        yield from events

    def _sent_with(self, event):
        """The lines of the dispatch that an event is about."""
        if "dispatch" not in event:
            return ()
        return self.model.sender_of(event).dispatch(event["dispatch"]).event["cups"]

    def opening(self):
        """A network that already runs might state this on its first day."""
        rng, places = self.rng, []
        types = [c for c in CUP_TYPES if c != NEW_TYPE]
        for site in rng.sample(self.sites, rng.randint(1, len(self.sites))):
            for cup in rng.sample(types, rng.randint(1, len(types))):
                places.append({"site": site, "cup_type": cup, "quantity": rng.randint(1, 90)})
                if rng.random() < 0.2:
                    places.append({**places[-1], "quantity": rng.randint(1, 5), "condition": "damaged"})
        for place in ("with_customers", "retired", "unaccounted"):
            for cup in rng.sample(types, rng.randint(0, len(types))):
                places.append({"place": place, "cup_type": cup, "quantity": rng.randint(1, 60)})
        rng.shuffle(places)
        shipments = []
        for _ in range(rng.randint(0, 3)):
            site, to = rng.sample(self.sites, 2)
            lines = [c for c in self._lines(20, condition=True) if c["cup_type"] != NEW_TYPE]
            if lines:
                dispatch = str(UUID(int=rng.getrandbits(128), version=4))
                shipments.append({"dispatch": dispatch, "site": site, "to": to, "cups": lines})
        owing = sorted({s["participant"] for s in self.model.sites.values()})
        due = [
            {"participant": p, "amount": self.model.amount(rng.choice([-1, 1]) * rng.randint(1, 9000))}
            for p in rng.sample(owing, rng.randint(0, 3))
        ]
        members = {"shipments": shipments, "due": due}
        opening = self._event(
            "opening",
            self._when(self.model.first_day - 9 * DAY),  # of the first day
            scheme=self.model.scheme["scheme"],
            places=places,
            bank=self.model.amount(rng.randint(-5000, 90000)),
            **{name: rows for name, rows in members.items() if rows},
        )
        return self.names.name(opening)

    def _replay(self, event):
        replay = dict(reversed(event.items()))
        if self.rng.random() < 0.5:
            replay["occurred_at"] = network.utc(instant(event["occurred_at"]))
        if self.rng.random() < 0.1:
            replay["reference"] = "not the same"  # other content under the same id: refused
        if event["kind"] == "transit_loss" and self.rng.random() < 0.5:  # the same only if it says what was decided
            replay.pop("bearer", None)
            replay |= self.rng.choice([{}, {"bearer": self.rng.choice(BEARERS)}])
        return named_cups.with_ids(replay, self._respelled)

    def _respelled(self, ids):
        """Mostly the same cups, in other spellings."""
        cups = [named_cups.respell(self.rng, cup) for cup in ids]
        return cups if self.rng.random() < 0.95 else cups[1:]

    def _when(self, day):
        shift = self.rng.choices([0, -1, -2, -5, 1, 2], [80, 6, 3, 2, 6, 3])[0]
        day = max(day + shift * DAY, self.model.first_day)
        start, end = self.model.start(day), self.model.start(day + DAY)
        return network.utc(start + timedelta(seconds=self.rng.randrange(int((end - start).total_seconds()))))

    def _site(self):
        """Any site, but rarely one that has closed."""
        open_ = [s for s in self.sites if self.model.sites[s].get("closed_on", "9999") >= str(self.model.next_day)]
        return self.rng.choice(open_ if self.rng.random() < 0.98 else self.sites)

    def _event(self, kind, when, site=None, **members):
        return {
            **network.event(kind, site, when, **members),
            "event_id": str(UUID(int=self.rng.getrandbits(128), version=4)),
        }

    def _lines(self, most=12, damaged=False, condition=False):
        rng = self.rng
        lines = [
            {"cup_type": c, "quantity": rng.randint(1, most)} for c in rng.sample(CUP_TYPES, rng.choice([1, 1, 1, 2]))
        ]
        if (damaged or condition) and rng.random() < 0.2:
            lines.append({"cup_type": rng.choice(CUP_TYPES), "quantity": rng.randint(1, 2), "condition": "damaged"})
        return lines

    def _plain(self, kind, when):
        """supply, damage, retire"""
        made_of = {}
        if kind == "supply" and self.model.batches and self.rng.random() < 0.6:
            made_of["batch"] = self.rng.choice([*self.model.batches, "no-such-batch"])
        return self._event(kind, when, self._site(), cups=self._lines(60 if kind == "supply" else 3), **made_of)

    def _stated(self, event):
        """Most tills state the tariff, some state nothing, and some state another amount."""
        chance = self.rng.random()
        if chance < 0.6:
            day = self.model.day_of(instant(event["occurred_at"]))
            tariff = sum(
                sign * c["quantity"] * (self.model.value(c["cup_type"], day) or 100)
                for sign, member in ((1, "issued"), (-1, "returned"))
                for c in event.get(member, [])
            )
            tariff *= -1 if event["kind"] == "return" else 1
            off = self.rng.choice([-2, -1, 1, 3]) * self.step if chance < 0.08 else 0
            event["amount"] = self.model.amount(tariff + off if event["kind"] == "exchange" else max(tariff + off, 0))
        return event

    def _issue(self, kind, when):
        return self._stated(self._event(kind, when, self._site(), issued=self._lines(8)))

    def _returned(self, most):
        """Some cups carry the deposit of another scheme."""
        lines = self._lines(most, damaged=True)
        for other in self.model.others:
            for line in lines:
                if self.rng.random() < 0.2:
                    line["home"] = other
            if self.rng.random() < 0.1 and "home" not in lines[0]:
                lines.append({**lines[0], "quantity": self.rng.randint(1, 3), "home": other})
        return lines

    def _return(self, kind, when):
        return self._stated(self._event(kind, when, self._site(), returned=self._returned(8)))

    def _exchange(self, kind, when):
        return self._stated(self._event(kind, when, self._site(), returned=self._returned(4), issued=self._lines(4)))

    def _dispatch(self, kind, when):
        """Most name a shipment, and most of these go the way that was asked."""
        named, way = {}, self._way()
        if self.rng.random() < 0.6:
            named["shipment"], asked = self._wish()
            way = asked if self.rng.random() < 0.7 else way
        return self._event(kind, when, way[0], cups=self._lines(20, condition=True), to=way[1], **named)

    def _way(self):
        """Now and then to a site of another scheme, whose cups visit."""
        site, to = self.rng.sample(self.sites, 2)
        for other in self.model.others.values():
            if self.rng.random() < 0.25:
                to = self.rng.choice(list(other.sites))
        return site, to

    def _wish(self):
        """(shipment, way): a new one, or one of the last."""
        if not self.wishes or self.rng.random() < 0.3:
            self.wishes[str(UUID(int=self.rng.getrandbits(128), version=4))] = self._way()
        return self.rng.choice(list(self.wishes.items())[-8:])

    def requests(self, day):
        """The shipments that people ask for on the day: a new one, and some that dispatches name already."""
        rng = self.rng
        self._wish()
        for shipment, (site, to) in list(self.wishes.items())[-8:]:
            if shipment not in self.model.asked_for and rng.random() < 0.5:
                home = self.model.others.get(self.model._home_of(to))
                agreed = rng.choice([{}, *({"bearer": bearer} for bearer in BEARERS)]) if home is None else {}
                lines = self._lines(20, condition=True)
                if home is not None and any(home.value(line["cup_type"], day) is None for line in lines):
                    continue  # it could not receive them
                yield {"shipment": shipment, "site": site, "to": to, "cups": lines, "wanted_on": str(day), **agreed}

    def _some_dispatch(self):
        """(dispatch, how an arrival of it names the scheme that sent it), mostly one of which cups are on the road. Now
        and then the arrival is not its home's."""
        own = [e for e in self.model.entries[-300:] if e.kind == "dispatch"] + list(self.model.shipments.values())
        sent = [(e, self.model, {}) for e in own if e.event["to"] in self.sites or self.rng.random() < 0.05]
        for code, host in self.model.others.items():
            theirs = [e for e in host.entries[-300:] if e.kind == "dispatch"]
            sent += [
                (e, host, {"host": code}) for e in theirs if e.event["to"] in self.sites or self.rng.random() < 0.01
            ]
        undone = [s for s in sent if not s[0].reversed_by and any(n > 0 for n in s[1]._open(s[0]).values())]
        chosen = undone if undone and self.rng.random() < 0.9 else sent
        dispatch, _, named = self.rng.choice(chosen) if chosen else (None, None, {})
        return dispatch, named

    def _part(self, lines):
        """Sometimes everything, sometimes a part, sometimes more."""
        rng, part = self.rng, []
        for line in rng.sample(lines, rng.randint(1, len(lines))) if rng.random() < 0.2 else lines:
            n = line["quantity"]
            unnamed = {k: v for k, v in line.items() if k != "ids"}
            part.append({**unnamed, "quantity": rng.choices([n, rng.randint(1, n), n + 1], [60, 35, 5])[0]})
        if rng.random() < 0.05:  # broken on the way
            whole = next((line for line in part if "condition" not in line and line["quantity"] > 1), None)
            if whole and not any(c["cup_type"] == whole["cup_type"] and "condition" in c for c in part):
                whole["quantity"] -= 1
                part.append({"cup_type": whole["cup_type"], "quantity": 1, "condition": "damaged"})
        return part

    def _receipt(self, kind, when):
        dispatch, named = self._some_dispatch()
        if dispatch:
            there = dispatch.event["to"] in self.sites and self.rng.random() < 0.9
            site = dispatch.event["to"] if there else self._site()
            return self._event(
                kind, when, site, cups=self._part(dispatch.event["cups"]), dispatch=dispatch.event["event_id"], **named
            )
        return None

    def _site_of(self, dispatch):
        return dispatch.event["site"] if dispatch.event["site"] in self.sites else self._site()

    def _transit_loss(self, kind, when):
        dispatch, named = self._some_dispatch()
        if dispatch:
            said = self.rng.choice([{}, {}, {}, *({"bearer": bearer} for bearer in BEARERS)])
            return self._event(
                kind,
                when,
                dispatch.event["to"] if named and dispatch.event["to"] in self.sites else self._site_of(dispatch),
                cups=self._part(dispatch.event["cups"]),
                dispatch=dispatch.event["event_id"],
                **named,
                **said,
            )
        return None

    def _count(self, kind, when):
        site = self._site()
        have = self.model.balances
        return self._event(
            kind,
            when,
            site,
            cups=[
                {
                    "cup_type": c,
                    "counted": max(0, have[f"site_stock({site},{c})"] + self.rng.choice([0, 0, 0, -1, 1, -3])),
                }
                for c in self.rng.sample(CUP_TYPES, self.rng.randint(1, 3))
            ],
        )

    def _reversal(self, kind, when):
        past = [e for e in self.model.entries[-250:] if e.event]
        if len(self.model.entries) == 1 and self.model.opened:
            return None  # an opening that is the only entry would wait for a second person: test_opening.py
        if not past:
            return None
        original = self.rng.choice(past).event
        named = {"scheme": original["scheme"]} if "scheme" in original else {"site": original["site"]}
        return {**self._event(kind, when, reverses=original["event_id"]), **named}

    def _forfeit(self, kind, when):
        return self._event(kind, when, scheme=self.model.scheme["scheme"], cups=self._lines(6))

    _reinstate = _forfeit

    def _journal(self, kind, when):
        """Two to four legs: of income and expense, and of what participants owe."""
        rng, model = self.rng, self.model
        accounts = [
            *rng.sample(["service_fees", "interest", "bank_charges", "tax", "operator_account", "loss_charges"], 2),
            rng.choice([f"arrears({rng.choice(list(model.participants))})", f"site_clearing({self._site()})"]),
            rng.choice(
                ["refund_variance", "bank", f"settlement_due({list(model.participants)[0]})", "arrears(nobody)"]
            ),
        ][rng.choice([0, 0, 1]) : rng.choice([3, 3, 3, 4])]
        if rng.random() < 0.3:  # the operator puts money in, or takes it out
            accounts = ["operator_account", "bank"]
        amounts = [rng.choice([-1, 1]) * rng.randint(1, 900) * self.step for _ in accounts[1:]]
        amounts.append(-sum(amounts))
        legs = [{"account": a, "amount": model.amount(n)} for a, n in zip(accounts, amounts) if n]
        return self._event(kind, when, scheme=model.scheme["scheme"], legs=legs, reason="as two people agreed")


def sorted_exceptions(exceptions, expected):
    """The exceptions as the model gives them: members that the contract leaves open are left out."""
    keys = [set(e) for e in expected] or [{"exception"}]
    names = {e["exception"]: k for e, k in zip(expected, keys)}
    return sorted(sorted({k: v for k, v in e.items() if k in names.get(e["exception"], e)}.items()) for e in exceptions)


def compare_answer(event, result, expected):
    if isinstance(expected, Refused):
        assert result["status"] == "rejected", (event, result, expected)
        problem = result["problem"]
        reasons = [problem["reason"], *(fault["reason"] for fault in problem.get("errors", []))]
        assert expected.args[0] in reasons, (event, result)
        return
    have = {k: result.get(k) for k in ("event_id", "status", "business_date", "late")}
    assert have == {k: expected[k] for k in have}, (event, result)
    assert sorted_exceptions(result["exceptions"], expected["exceptions"]) == sorted_exceptions(
        expected["exceptions"], expected["exceptions"]
    ), f"\n{event}\n{result}\n{expected}"


def post_journal(client, second, event, expected, entries):
    """One person proposes it, and another approves."""
    answer = client.send("POST", "/v1/events", event)
    if isinstance(expected, Refused):
        assert expected.args[0] in answer.reasons, (event, answer.json)
        return
    if expected["status"] == "recorded":
        assert answer.json == {"event_id": event["event_id"], "status": "proposed"}, (event, answer.json)
        approved = second.send("POST", f"/v1/journals/{event['event_id']}/approve")
        assert approved.status == 200, approved.body
        entries[event["event_id"]] = approved.json["entry"]
        answer = client.send("POST", "/v1/events", event)
    compare_answer(event, answer.json, {**expected, "status": "duplicate"})


def open_scheme(clients, model, stream, entries):
    """Two people open the scheme. They are shown the balances that the model works out."""
    event, (first, second) = stream.opening(), clients
    model.post(event)
    answer = first.send("POST", "/v1/events", event)
    assert answer.status == 202, (event, answer.body)
    sheet = {a["account"]: a.get("debit") or "-" + a["credit"] for a in answer.json["balance_sheet"]["accounts"]}
    assert sheet == {a: model.amount(v) for a, v in model.balances.items() if v and not model.unit(a)}
    decided = second.send("POST", f"/v1/openings/{event['event_id']}/approve")
    assert decided.status == 200, decided.body
    entries[event["event_id"]] = decided.json["entry"]


def one_by_one(rng, days):
    """The events of several schemes' days in an order of chance. Yields (which scheme, event)."""
    going = dict(enumerate(days))
    while going:
        which = rng.choice(list(going))
        if event := next(going[which], None):
            yield which, event
        else:
            del going[which]


def post_day(client, second, schemes, day):
    """Posts the day's events, singly or in arrays, and compares each answer with the model's. `schemes`: the model,
    the stream and the known entries of each."""
    rng, waiting = schemes[0][1].rng, []

    def flush():
        if len(waiting) == 1:
            answer = client.send("POST", "/v1/events", waiting[0][0])
            results = [answer.json if answer.status < 300 else {"status": "rejected", "problem": answer.json}]
        else:
            results = client.post_many([event for event, *_ in waiting]) if waiting else []
        for (event, expected, entries), result in zip(waiting, results):
            compare_answer(event, result, expected)
            if result["status"] != "rejected":
                assert entries.setdefault(event["event_id"], result["entry"]) == result["entry"]
        waiting.clear()

    for which, event in one_by_one(rng, [stream.day(day) for _, stream, _ in schemes]):
        model, _, entries = schemes[which]
        try:
            expected = model.post(event)
        except Refused as refused:
            expected = refused
        if event["kind"] == "journal":
            flush()
            post_journal(client, second, event, expected, entries)
            continue
        waiting.append((event, expected, entries))
        if rng.random() < 0.08 / len(schemes):
            flush()
    flush()


def ask_for_shipments(client, model, stream, day):
    """People ask for shipments, and sometimes change who bears losses for which nothing was agreed."""
    scheme, wishes = model.scheme["scheme"], list(stream.requests(day))
    if wishes:
        answer = client.send("POST", "/v1/shipments", {"scheme": scheme, "shipments": wishes})
        assert answer.status == 201, answer.body
        model.asked_for |= {wish["shipment"]: wish for wish in wishes}
    if stream.rng.random() < 0.2:
        model.scheme["loss_bearer"] = stream.rng.choice(BEARERS)
        kept = {k: v for k, v in client.get(f"/v1/schemes/{scheme}").items() if k != "scheme"}
        client.put(f"/v1/schemes/{scheme}", {**kept, "loss_bearer": model.scheme["loss_bearer"]})


def send_to_remaker(client, model, rng, day):
    """A batch takes some of the retired cups of a site to a re-maker."""
    site = rng.choice(list(model.sites))
    waiting = model.retired_at(site) - model.batched_at(site)
    cups = {cup: rng.randint(1, n) for cup, n in sorted(waiting.items())}
    code = f"{model.scheme['scheme']}-{len(model.batches) + 1}"
    if cups:
        lines = [{"cup_type": cup, "quantity": n} for cup, n in cups.items()]
        batch = {"batch": code, "site": site, "sent_on": str(day), "remaker": "Skerry Moulding", "weight_g": 90}
        answer = client.send("POST", "/v1/remaking-batches", {**batch, "cups": lines})
        assert answer.status == 201, answer.body
        model.batches[code] = site, cups


def compare_shipments(client, model):
    """Each shipment that was asked for has the model's dispatches that fulfil it, and their arrivals."""
    want = defaultdict(Counter)
    for entry in model.entries:
        if entry.kind == "dispatch" and model.fulfils(entry):  # cups may arrive from one that was reversed
            for one in [*([] if entry.reversed_by else [entry]), *model._arrivals(entry)]:
                member = {"dispatch": "dispatched", "receipt": "received", "transit_loss": "lost"}[one.kind]
                for line in one.event["cups"]:
                    want[entry.event["shipment"]][member, line["cup_type"]] += line["quantity"]
    for shipment in model.asked_for:
        have = Counter()
        for line in client.get(f"/v1/shipments/{shipment}")["cups"]:
            for member in ("dispatched", "received", "lost"):
                have[member, line["cup_type"]] += line[member]
        assert +have == want[shipment], shipment


def close_month(client, second, model, day):
    """Two people close the month that the day ends for journals."""
    asked = client.send("POST", f"/v1/schemes/{model.scheme['scheme']}/months/{day:%Y-%m}/close")
    assert asked.status == 202, asked.body
    approved = second.send("POST", f"/v1/proposals/{asked.json['proposal']}/approve")
    assert approved.status == 200, approved.body
    model.close_months(day)


class Bank:
    """The bank of a scheme: it charges, pays interest, and moves the operator's own money. All of it is booked in the
    day of now, whatever day the events are of."""

    def __init__(self, client, second, model, rng):
        self.client, self.second, self.model, self.rng, self.statements = client, second, model, rng, 0
        self.held = rng.randint(0, 999) * 10**model.decimals  # by the bank, before it is asked for the first time
        self.lost = []  # statements that the office has not got yet

    def _amounts(self, today):
        """The operator often puts in what is missing, and takes out about as much as is free then."""
        free, step = self.model.withdrawable(today), 10**self.model.decimals
        some, more = (self.rng.randint(1, 50) * step for _ in range(2))
        put_in = max(-free, 0) + some
        take_out = -max(free + put_in + self.rng.choice([-1, 0, 1]) * self.rng.randint(1, some), 1)
        return self.rng.choice([[-some], [some, more], [put_in, take_out], [put_in, take_out, -more]])

    def _books(self, day, amounts):
        """The day at the bank. Now and then it states another closing than it goes on with."""
        opening, self.held = self.held, self.held + sum(amounts)
        return day, opening, amounts, self.held + (self.rng.randint(1, 50) if self.rng.random() < 0.1 else 0)

    def _tells(self, statement, today):
        model, (day, opening, amounts, closing) = self.model, statement
        self.statements += 1
        bookings = [bank.Booking(Decimal(model.amount(a))) for a in amounts]
        account, currency = model.scheme["operator"]["bank_account"]["account"], model.scheme["currency"]
        opening_text, closing_text = (Decimal(model.amount(a)) for a in (opening, closing))
        data = bank.statement(
            f"S-{self.statements}", account, currency, str(day), bookings, opening_text, closing=closing_text
        )
        xml = {"Content-Type": "application/xml"}
        answer = self.client.send("POST", f"/v1/bank-statements?scheme={model.scheme['scheme']}", data, xml)
        assert answer.status == 200, answer.body
        model.read_statement(*statement)
        for line, amount in zip(answer.json["statements"][0]["lines"], amounts):
            model.read_line(line["line"], amount, today)

    def day(self, day):
        """The statement of the day; it may get lost, and come later."""
        model = self.model
        today = business_day(model.scheme["cut_off"], model.scheme["time_zone"])
        self.lost.append(self._books(day, self._amounts(today)))
        if self.rng.random() < 0.8:
            self.rng.shuffle(self.lost)
            while self.lost:
                self._tells(self.lost.pop(), today)
        for number in list(model.bank_lines):
            if self.rng.random() < 0.8:
                self._resolve(number, today)
        self.compare(today)

    def _resolve(self, number, today):
        account = self.rng.choice(["bank_charges", "interest", *["operator_account"] * 4])
        beyond = self.model.resolve_line(number, account, today)
        target, body = f"/v1/bank-lines/{number}/resolve", {"account": account, "note": "by the bank's word"}
        if account == "operator_account":
            self.client.agreed(self.second, "POST", target, body)
        else:
            assert self.client.send("POST", target, body).status == 200
        [line] = [
            r for r in self.client.items("/v1/bank-lines", scheme=self.model.scheme["scheme"]) if r["line"] == number
        ]
        [entry] = line["resolution"]["entries"]
        found = self.client.get(f"/v1/entries/{entry}", scheme=self.model.scheme["scheme"])["exceptions"]
        assert found == ([{"exception": "taken_out_beyond", "amount": self.model.amount(beyond)}] if beyond else []), (
            line,
            found,
            beyond,
        )

    def compare(self, today):
        self._compare_withdrawable(today)
        compare_reconciliation(self.client, self.model)

    def _compare_withdrawable(self, today):
        rows = self.client.items("/v1/reports/withdrawable", scheme=self.model.scheme["scheme"])
        counted = sum(self.model.minor(r["counted"]) for r in rows[:-2])
        assert counted == self.model.withdrawable(today), rows
        results = {r["step"]: self.model.minor(r["counted"]) for r in rows[-2:]}
        assert results == {"withdrawable": max(counted, 0), "shortfall": max(-counted, 0)}


def compare_reconciliation(client, model, as_of=None):
    """The rows sum to the ledger's account. Its figures are the model's, and each break is at its statement."""
    query = {"scheme": model.scheme["scheme"], **({"as_of": as_of} if as_of else {})}
    rows = client.items("/v1/reports/bank-reconciliation", **query)
    amounts = [model.minor(r["amount"]) for r in rows]
    assert sum(amounts[:-1]) == amounts[-1] and rows[-1]["section"] == "ledger", rows
    assert "not_explained" not in {r["section"] for r in rows}, rows
    if as_of:
        assert amounts[-1] == model.through(as_of)["bank"]
        return
    assert amounts[-1] == model.balances["bank"]
    figures, broken = Counter(), []
    for row, amount in zip(rows[:-1], amounts):
        if row["section"] in ("break", "told_again"):
            broken.append((date.fromisoformat(row["date"]), -amount))
        else:
            figures["said" if row["item"] in ("journal", "opening_event", "reversal") else row["item"]] += amount
    assert {f: a for f, a in figures.items() if a} == {f: a for f, a in model.reconciliation().items() if a}, rows
    assert sorted(broken) == sorted(model.breaks()), rows  # one statement may have two
    listed = client.items("/v1/bank-statements", scheme=query["scheme"])
    assert {s["to"] for s in listed if not s["ties"]} == {str(day) for day, _ in broken}
    assert client.items("/v1/reports/bank-reconciliation", **query, state="breaks") == [
        r for r in rows if r["section"] == "break"
    ]


def compare_accounts(client, model, as_of=None):
    have = client.accounts(model.scheme["scheme"], **({"as_of": as_of} if as_of else {}))
    want = model.through(as_of) if as_of else model.balances
    for account in have.keys() | {a for a, v in want.items() if v}:
        value = want[account] if model.unit(account) else model.amount(want[account])
        assert have.get(account) == value, f"{account} through {as_of or 'all days'}"


def compare_settlement(model, settlement, expected):
    positions = {p["participant"]: p for p in settlement["positions"]}
    assert {p: line["amount"] for p, line in positions.items()} == {
        p: model.amount(a) for p, a in expected["positions"].items()
    }
    assert {p: line["arrears"] for p, line in positions.items()} == {
        p: model.amount(a) for p, a in expected["arrears"].items()
    }
    assert {p for p, line in positions.items() if line["carried_forward"]} == expected["carried"]
    assert settlement.get("next_pay_day") == expected["next_pay_day"]
    assert {p: line["carried_since"] for p, line in positions.items() if "carried_since" in line} == {
        p: str(since) for p, since in expected["carried_since"].items()
    }
    assert {c["participant"]: c["amount"] for c in settlement["carried_forward"]} == {
        p: positions[p]["amount"] for p in expected["carried"]
    }
    lines = {s["site"]: s for p in positions.values() for s in p["sites"]}
    for site, figures in expected["sites"].items():
        said = {k: v for k, v in lines.get(site, {}).items() if k not in ("site", "fee_rows")}
        line = Counter({k: model.minor(v) for k, v in said.items()})  # no line: all zero
        assert {k: line[k] for k in figures} == figures, (site, lines.get(site))
        assert line["net"] == (
            line["brought_forward"]
            + line["collected"]
            - line["refunded"]
            + line["fees"]
            + line["tax"]
            + line["stock"]
            + line["other"]
        ), lines.get(site)
        compare_fee_rows(model, lines.get(site, {}).get("fee_rows", []), expected["fee_rows"][site])
    compare_payments(
        model,
        settlement,
        {p: a for p, a in expected["positions"].items() if p not in expected["carried"]},
        expected["netting"],
    )
    compare_pool_payments(model, settlement, expected["to_pools"])


def compare_pool_payments(model, settlement, expected):
    """One to each host's pool, held until the person releases it who signed for this scheme."""
    payments = [p for p in settlement["payments"] if p["to"].startswith("pool/")]
    assert {p["to"]: p["amount"] for p in payments} == {f"pool/{h}": model.amount(a) for h, a in expected.items()}
    assert all(p["from"] == "pool" and p["held"] for p in payments), payments


def compare_fee_rows(model, rows, expected):
    """Which row of which terms gave each fee, and for how many cups."""
    have = Counter()
    for row in rows:
        each, rate = model.minor(row["each"]), Fraction(row["tax_rate"])
        assert model.minor(row["amount"]) == each * row["quantity"]
        have[row["fee"], row["terms"], row.get("row"), each, rate] += row["quantity"]
    assert have == expected and len(rows) == len(have), (rows, expected)


def compare_payments(model, settlement, settled, netting):
    paid = Counter()
    between = [p for p in settlement["payments"] if not p["to"].startswith("pool/")]
    payments = [(p["from"], p["to"], model.minor(p["amount"])) for p in between]
    for debtor, creditor, amount in payments:
        assert amount > 0
        paid[debtor] += amount
        paid[creditor] -= amount
    pool = -sum(settled.values())
    assert {p: a for p, a in paid.items() if a} == {p: a for p, a in {**settled, "pool": pool}.items() if a}
    if netting == "central":
        assert all("pool" in (debtor, creditor) for debtor, creditor, _ in payments)
        assert len(payments) == sum(1 for a in settled.values() if a)
    else:
        assert not {p[0] for p in payments} & {p[1] for p in payments}, "one both pays and receives"
        assert len(payments) == fewest_payments([*settled.values(), pool])
    for payment in between:
        first = model.opened and payment["to"] != "pool" and payment["to"] not in model.paid_out
        assert payment.get("held") == ({"reason": "first_payout", "released": False} if first else None), payment
    model.paid_out |= {p["to"] for p in between}
    totals = settlement["totals"]
    assert totals["payments"] == len(payments) and model.minor(totals["paid"]) == sum(p[2] for p in payments)


def compare_feed(client, model, entries):
    """Every acknowledged event is in the feed once, under its number, with the model's legs."""
    feed = client.feed(model.scheme["scheme"])
    assert [item["entry"] for item in feed] == list(range(1, len(feed) + 1))
    events = [item for item in feed if "event" in item]
    assert {item["event"]["event_id"]: item["entry"] for item in events} == entries and len(events) == len(entries)
    for item in events:
        legs = Counter()
        for leg in item["legs"]:
            legs[leg["account"]] += leg["cups"] if "cups" in leg else model.minor(leg["amount"])
        posted = model.by_id[item["event"]["event_id"]]
        assert {a: v for a, v in legs.items() if v} == posted.legs, item
        if item["kind"] == "transit_loss":
            assert item["event"]["bearer"] == model.bearers[posted.event["event_id"]], item
    service = {"fees", "settle", "remeasurement", "bank_line", "bank_line_resolved", "return_abroad", "reversal_abroad"}
    assert {item["kind"] for item in feed if "event" not in item} <= service


def compare_cups(client, models, entries, types):
    """Each cup with identity is where the model's events say, in all schemes; nothing has been seen of others. A
    sighting that does not follow from the one before is an open exception or a gap."""
    walks = [named_cups.Walk(model, known) for model, known in zip(models, entries)]
    want, found = named_cups.whereabouts(walks), named_cups.findings(walks, types)
    one = f"/v1/cups/{quote(min(want), safe='')}"
    wait_until(
        lambda: client.send("GET", one).status == 200 and client.get(one)["current"], "all entries are looked at"
    )
    assert {c["cup_id"] for c in client.items("/v1/cups", limit=1000)} == want.keys()
    strangers, beyond = named_cups.strangers(walks)
    open_strangers = Counter()
    for cup, last in want.items():
        shown = client.get(f"/v1/cups/{quote(cup, safe='')}")
        at = shown.get("whereabouts")
        assert (at and (at["place"], at.get("site"), at["scheme"], at["entry"])) == last, (cup, shown)
        open_ = Counter((x["exception"], x["scheme"], x["entry"]) for x in shown["exceptions"] if x["open"])
        strange = {k: n for k, n in found[cup].items() if k[0] == "cup_never_supplied"}
        gaps = {k: n for k, n in found[cup].items() if k[0] == "gap"}
        expected = found[cup] - Counter(strange) - Counter(gaps)
        assert open_ - Counter(strange) == expected, (cup, shown, found[cup])
        assert shown["gaps"] == sum(gaps.values()), (cup, shown, gaps)
        assert len(strange) == (cup in strangers)
        open_strangers[strangers.get(cup)] += sum((open_ & Counter(strange)).values())
    assert +open_strangers == beyond


def compare_cuts(client, model):
    """By the cuts that the feed shows, a reader knows where each event posts: to its own day, or if that has been cut
    to the earliest that has not; a reversal not before the entry that it reverses."""
    opened = FIRST_DAY
    for item in client.feed_with_cuts(model.scheme["scheme"]):
        if item["kind"] == "day_cut":
            assert item["business_date"] == str(opened) and item.keys() == {"kind", "business_date", "recorded_at"}
            opened += DAY
        elif "event" in item:
            event, entry = item["event"], model.by_id[item["event"]["event_id"]]
            since = model.by_id[event["reverses"]].day if "reverses" in event else opened
            assert item["business_date"] == str(max(model.day_of(entry.occurred), since, opened)), item
    assert opened == model.next_day


def random_agreements(rng, service, models, days):
    """Each of two schemes takes back the other's cups. Their agreements change now and then, and end for
    a while."""
    first, second = models
    for home, host, of, units in ((first, second, "host", "0.01"), (second, first, "home", "0.0097")):
        day = FIRST_DAY
        while day < FIRST_DAY + days * DAY:
            types = rng.choice([CUP_TYPES, CUP_TYPES, CUP_TYPES, CUP_TYPES[:2], []])
            in_books = host if of == "host" else home
            values = {c: rng.randint(20, 90) * (5 if in_books.decimals else 10) for c in types}
            rate = str(Decimal(units) * rng.randint(9000, 11000) / 10000)
            agree(service, day, values, home.code, host.code, of, rate)
            row = {
                "home": home.code,
                "host": host.code,
                "effective_date": str(day),
                "of": of,
                "rate": rate,
                "values": values,
            }
            for model in models:
                model.agreements.append(row)
            day += rng.randint(5, 21) * DAY
    first.others, second.others = {second.code: second}, {first.code: first}


@pytest.fixture(scope="module")
def seed():
    print(f"DEPOSITD_MODEL_SEED={SEED} DEPOSITD_MODEL_DAYS={DAYS}")
    return SEED


def test_random_days(service, seed):
    rng = random.Random(seed)
    plans = [
        random_scheme(rng, "tern-bay", "CAD", "America/St_Johns", "on_loan", 0.05, "a"),
        random_scheme(rng, "eider-sound", "ISK", "Atlantic/Reykjavik", "on_deposit", 10, "b"),
    ]
    participants = {f"{prefix}c": {"tax_registered": False} for prefix in "ab"}
    types = {c: named_cups.asset(n) for n, c in enumerate(CUP_TYPES)}
    cup_types = [{"cup_type": c, "name": c, "volume_ml": 300, "mass_g": 50, "grai": types[c]} for c in CUP_TYPES]
    document = network.reference(
        [scheme for scheme, _ in plans],
        {s: row for _, sites in plans for s, row in sites.items()},
        cup_types,
        **participants,
    )
    document.update(dated_values(rng, {s: row for _, sites in plans for s, row in sites.items()}))
    client, second = service.admin, service.client(service.create_key("second", "accountant"))
    client.load(document)
    models = [Model(document, scheme["scheme"]) for scheme, _ in plans]
    streams = [Stream(rng, model, 10**model.decimals // 2 or 10) for model in models]
    banks = [Bank(client, second, model, rng) for model in models]
    entries = [{}, {}]
    for n in rng.sample((0, 1), rng.choice([1, 1, 2])):
        open_scheme((client, second), models[n], streams[n], entries[n])
    random_agreements(rng, service, models, DAYS)
    for day in (FIRST_DAY + n * DAY for n in range(DAYS)):
        for model, stream, known, its_bank in zip(models, streams, entries, banks):
            ask_for_shipments(client, model, stream, day)
            post_day(client, second, [(model, stream, known)], day)
            send_to_remaker(client, model, rng, day)
            followed(service)
            for home in model.others.values():
                home.follow(model)
            if rng.random() < 0.3 and day > FIRST_DAY + 5 * DAY:  # journals stand in for statements until then
                its_bank.day(day)
            expected = model.close(day)
            compare_settlement(model, client.close(model.scheme["scheme"], day), expected)
            compare_accounts(client, model, day)
            compare_accounts(client, model)
            compare_reconciliation(client, model, day)
            compare_reconciliation(client, model)
            if (day + DAY).day == 1 and rng.random() < 0.7:
                close_month(client, second, model, day)
        # The checks read all days each time, so they run seldom once there are many days.
        if day.day == 1 or (day.day % 10 == 1 and day - FIRST_DAY < 60 * DAY):
            client.assert_holds()
    for model, known in zip(models, entries):
        compare_feed(client, model, known)
        compare_cuts(client, model)
        compare_shipments(client, model)
        cover = client.items("/v1/reports/deposit-cover", scheme=model.scheme["scheme"], as_of=model.next_day - DAY)
        assert all(
            not row["difference"] or model.minor(row["difference"]) == 0 for row in cover if row["section"] != "funding"
        )
    compare_cups(client, models, entries, types)
    client.assert_holds()


def test_random_days_of_many_schemes(service, seed):
    """The events of all schemes come in the same arrays, so that each batch is of many schemes. The schemes are of
    three groups, so that three writers share each array."""
    rng, days = random.Random(seed), 12
    plans = [
        random_scheme(rng, code, "CAD", rng.choice(ZONES), rng.choice(["on_loan", "on_deposit"]), 0.05, f"n{n}-", days)
        for n, code in enumerate(NAMED[2:])
    ]
    for scheme, _ in plans:
        scheme["group"] = rng.randint(1, 3)
    sites = {s: row for _, of_scheme in plans for s, row in of_scheme.items()}
    cup_types = [{"cup_type": c, "name": c, "volume_ml": 300, "mass_g": 50} for c in CUP_TYPES]
    document = network.reference([scheme for scheme, _ in plans], sites, cup_types)
    client, second = service.admin, service.client(service.create_key("second", "accountant"))
    client.load(document)
    models = [Model(document, scheme["scheme"]) for scheme, _ in plans]
    schemes = [(model, Stream(rng, model, 50), {}) for model in models]
    for day in (FIRST_DAY + n * DAY for n in range(DAYS_OF_MANY)):
        post_day(client, second, schemes, day)
        for model in models:
            expected = model.close(day)
            compare_settlement(model, client.close(model.scheme["scheme"], day), expected)
            compare_accounts(client, model)
    for model, _, known in schemes:
        compare_feed(client, model, known)
    client.assert_holds()
