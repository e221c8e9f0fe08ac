# SPDX-License-Identifier: ISC
"""After random days, with late events, reversals and changes of value, compares the reports with figures computed here
only from the naive model's events. DEPOSITD_MODEL_DAYS and DEPOSITD_MODEL_SEED as in test_model.py."""
import random
from collections import Counter, defaultdict
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from statistics import median
from urllib.parse import quote

import pytest

import named_cups
import network
from cup_queue import CupQueue
from harness import wait_until
from model import DAY, Model
from test_model import CUP_TYPES, DAYS, FIRST_DAY, SEED, Stream
from test_model import ask_for_shipments, open_scheme, post_day, random_scheme, send_to_remaker

CLOSED = min(DAYS, 20)  # two more days stay open
COUNTER = ("issue", "return", "exchange")


@pytest.fixture(scope="module", params=("on_loan", "on_deposit"))
def net(request, shared_by_terms):
    return shared_by_terms(request.param)


@pytest.fixture(scope="module")
def shared_by_terms(shared):
    """Both schemes in one network, filled once."""
    print(f"DEPOSITD_MODEL_SEED={SEED}")
    rng = random.Random(SEED)
    plans = {
        "on_loan": random_scheme(rng, "tern-bay", "CAD", "America/St_Johns", "on_loan", 0.05, "a"),
        "on_deposit": random_scheme(rng, "eider-sound", "ISK", "Atlantic/Reykjavik", "on_deposit", 10, "b"),
    }
    types = {c: named_cups.asset(n) for n, c in enumerate(CUP_TYPES)}
    cup_types = [{"cup_type": c, "name": c, "volume_ml": 300, "mass_g": 50, "grai": types[c]} for c in CUP_TYPES]
    document = network.reference(
        [s for s, _ in plans.values()],
        {site: row for _, sites in plans.values() for site, row in sites.items()},
        cup_types,
    )
    shared.admin.load(document)
    second = shared.client(shared.create_key("second", "accountant"))
    nets = {}
    for terms, (scheme, _) in plans.items():
        model = Model(document, scheme["scheme"])
        nets[terms] = net = Net(shared.admin, model)
        stream, known = Stream(rng, model, 10**model.decimals // 2 or 10), net.known
        if rng.random() < 0.6:
            open_scheme((shared.admin, second), model, stream, known)
        for n in range(CLOSED + 2):
            ask_for_shipments(shared.admin, model, stream, FIRST_DAY + n * DAY)
            post_day(shared.admin, second, [(model, stream, known)], FIRST_DAY + n * DAY)
            for _ in range(2):
                send_to_remaker(shared.admin, model, rng, FIRST_DAY + n * DAY)
            if n < CLOSED:
                net.closed[FIRST_DAY + n * DAY] = model.close(FIRST_DAY + n * DAY)
                shared.admin.close(scheme["scheme"], FIRST_DAY + n * DAY)
    walks = [named_cups.Walk(net.model, net.known) for net in nets.values()]
    for net in nets.values():
        net.walks = walks
    return nets.__getitem__


class Net:
    def __init__(self, client, model):
        self.client, self.model = client, model
        self.closed = {}  # day -> what the model's close gave
        self.known = {}  # event id -> entry
        self.walks = []  # of all schemes, because cups with identity cross them
        self.first, self.last = FIRST_DAY, FIRST_DAY + (CLOSED + 4) * DAY

    def report(self, name, **query):
        days = {} if "as_of" in query else {"from": self.first, "to": self.last}
        return self.client.get(f"/v1/reports/{name}", scheme=self.model.scheme["scheme"], **{**days, **query})["items"]

    def done(self):
        """(entry, its event or the event that it reverses, 1 or -1) for each event."""
        for entry in self.model.entries:
            if entry.kind == "reversal":
                original = self.model.by_id[entry.event["reverses"]]
                yield entry, original, -1
            elif entry.event:
                yield entry, entry, 1

    def occurrence(self, entry, original):
        day = self.model.day_of(entry.occurred)
        return max(day, original.day) if entry is not original else day

    def minor(self, text):
        return self.model.minor(text)


def lines(event, member):
    return [(c["cup_type"], c["quantity"]) for c in event.get(member, [])]


def account_days(net, account):
    """day -> movements of the account on that day; an opening is before the first day"""
    moved = Counter()
    for entry in net.model.entries:
        if entry.kind != "opening":
            moved[str(entry.day)] += entry.legs.get(account, 0)
    return moved


def opening_legs(net):
    return next((e.legs for e in net.model.entries if e.kind == "opening"), {})


def assert_chained(net, rows, account_of, moved_of, sign=1):
    """Each line opens with the closing amount of the line before, and closes with the model's balance."""
    shown = {account_of(row) for row in rows}
    balances = Counter({a: n for a, n in opening_legs(net).items() if a in shown})
    for row in rows:
        account = account_of(row)
        assert net.minor(row["opening"]) == sign * balances[account], row
        balances[account] += moved_of(account)[row["date"]]
        assert net.minor(row["closing"]) == sign * balances[account], row
    assert {a: b for a, b in balances.items() if b} == {
        a: b
        for a, b in net.model.balances.items()
        if b and a.partition("(")[0] in {x.partition("(")[0] for x in balances}
    }


def by_account(net):
    moved = {}
    return lambda account: moved.setdefault(account, account_days(net, account))


def test_site_statements(net):
    rows = net.report("site-statement")
    assert {r["site"] for r in rows} == net.model.sites.keys()
    assert_chained(net, rows, lambda r: r["account"], by_account(net))
    counted, by_kind = defaultdict(Counter), defaultdict(Counter)
    for entry, original, sign in net.done():
        if original.kind in COUNTER:
            for member in ("issued", "returned"):
                counted[str(entry.day), original.event["site"]][member] += sign * sum(
                    n for _, n in lines(original.event, member)
                )
    for entry in net.model.entries:
        for account, amount in entry.legs.items():
            if account.startswith("site_clearing("):
                by_kind[str(entry.day), account][entry.kind] += amount
    for row in rows:
        at = row["date"], row["account"]
        figures = {k: net.minor(row[k]) for k in ("collected", "refunded", "fees", "tax", "stock", "other", "settled")}
        assert {k: row[k] for k in ("issued", "returned")} == {
            k: counted[row["date"], row["site"]][k] for k in ("issued", "returned")
        }, row
        assert figures["fees"] + figures["tax"] == by_kind[at]["fees"], row
        assert figures["settled"] == by_kind[at]["settle"], row
        assert figures["collected"] - figures["refunded"] + figures["stock"] + figures["other"] == sum(
            amount for kind, amount in by_kind[at].items() if kind not in ("fees", "settle")
        ), row


def test_statements_of_all_participants_are_the_trial_balance(net):
    for day in (net.first + CLOSED // 2 * DAY, net.first + (CLOSED - 1) * DAY, net.last):
        rows = net.report("participant-statement", to=day)
        last = max(r["date"] for r in rows)
        closing = Counter()
        for row in (r for r in rows if r["date"] == last):
            closing[row["account"]] += net.minor(row["closing"])
        balance = {
            r["account"]: net.minor(r["debit"]) - net.minor(r["credit"])
            for r in net.report("trial-balance", as_of=day)
            if r["account"].partition("(")[0] in ("site_clearing", "settlement_due", "arrears")
        }
        assert {a: n for a, n in closing.items() if n} == balance
        for row in rows:
            f = {
                k: net.minor(row[k])
                for k in (
                    "opening",
                    "collected",
                    "refunded",
                    "fees",
                    "tax",
                    "stock",
                    "other",
                    "settled",
                    "paid",
                    "failed",
                    "closing",
                )
            }
            assert f["closing"] == sum(f.values()) - 2 * f["refunded"] - f["closing"], row
    settled = Counter()
    for row in rows:
        settled[row["participant"], row["date"]] += net.minor(row["settled"])
    assert set(settled.values()) == {0}


def test_liability(net):
    rows = net.report("liability")
    assert {r["cup_type"] for r in rows} == set(CUP_TYPES)
    assert_chained(net, rows, lambda r: r["account"], by_account(net), sign=-1)
    expected, out = defaultdict(Counter), by_account(net)
    members = {
        **dict.fromkeys(COUNTER, {"issued": "issued", "refunded": "returned"}),
        "forfeit": {"forfeited": "cups"},
        "reinstate": {"reinstated": "cups"},
    }
    for entry, _, sign in net.done():
        for column, member in members.get(entry.kind, {}).items():
            for cup, n in lines(entry.event, member):
                expected[str(entry.day), cup][column] += n * net.model.value(cup, entry.day)
    cups_out = Counter({cup: opening_legs(net).get(f"with_customers({cup})", 0) for cup in CUP_TYPES})
    for row in rows:
        cup, day = row["cup_type"], row["date"]
        have = {k: net.minor(row[k]) for k in ("issued", "refunded", "forfeited", "reinstated")}
        assert have == {k: expected[day, cup][k] for k in have}, row
        rest = net.minor(row["remeasured"]) + net.minor(row["reversed"])
        assert net.minor(row["closing"]) - net.minor(row["opening"]) == (
            have["issued"] - have["refunded"] - have["forfeited"] + have["reinstated"] + rest
        ), row
        cups_out[cup] += out(f"with_customers({cup})")[day]
        assert row["cups_out"] == cups_out[cup]
    for entry in net.model.entries:  # legs that closes posted on a change of value
        if entry.kind == "remeasurement":
            for account, amount in entry.legs.items():
                if account.startswith("customer_deposits("):
                    expected[str(entry.day), account[18:-1]]["remeasured"] -= amount
    reversed_days = {str(e.day) for e in net.model.entries if e.kind == "reversal"}
    for row in rows:
        if row["date"] not in reversed_days:
            assert net.minor(row["remeasured"]) == expected[row["date"], row["cup_type"]]["remeasured"]
            assert row["reversed"].strip("0.") == ""


def queues(net):
    legs = opening_legs(net)
    found = {c: CupQueue(legs.get(f"with_customers({c})", 0), legs.get(f"unaccounted({c})", 0)) for c in CUP_TYPES}
    moved = defaultdict(Counter)
    for entry, original, sign in net.done():
        for kind, member, moves, times in (
            ("issued", "issued", COUNTER, 1),
            ("returned", "returned", COUNTER, 1),
            ("forfeited", "cups", ("forfeit",), 1),
            ("forfeited", "cups", ("reinstate",), -1),
        ):
            for cup, n in lines(original.event, member) if original.kind in moves else ():
                moved[entry.day, kind][cup] += sign * times * n
    for (day, kind), cups in sorted(moved.items()):
        for cup, n in cups.items():
            found[cup].move(kind, day, n)
    return found


def test_return_rates_by_day(net):
    """First in, first out, cup by cup. The rule is the contract's; there is no published source."""
    rows = {(r["date"], r["cup_type"]): r for r in net.report("return-rate-daily")}
    compared = 0
    for cup, queue in queues(net).items():
        for day, fates in queue.fates().items():
            row = rows.pop((str(day), cup))
            back = {f[1]: n for f, n in fates.items() if f[0] == "returned"}
            assert (row["issued"], row["returned"], row["out"]) == (
                sum(fates.values()),
                sum(back.values()),
                fates["out"],
            ), row
            assert row["returned_7"] == sum(n for days, n in back.items() if days <= 7)
            assert row["forfeited"] == row["issued"] - row["returned"] - row["out"]
            compared += 1
    assert compared > 0 and not any(r["issued"] for r in rows.values())


def test_return_rates_of_weeks(net):
    expected = defaultdict(Counter)
    for cup, queue in queues(net).items():
        for day, fates in queue.fates().items():
            for name in (cup, "total"):
                week = expected[max(day - day.weekday() * DAY, FIRST_DAY), name]
                week["issued"] += sum(fates.values())
                week["returned"] += sum(n for f, n in fates.items() if f[0] == "returned")
                week["out"] += fates["out"]
    rows = net.report("return-rate", totals="shown")
    assert {
        (r["first_day"], r["cup_type"]): Counter({k: r[k] for k in ("issued", "returned", "out")}) for r in rows
    } == {(str(day), cup): week for (day, cup), week in expected.items()}
    for row in rows:
        assert row["rate"] == f"{Decimal(row['returned']) / row['issued']:.4f}" or (
            abs(Decimal(row["rate"]) - Decimal(row["returned"]) / row["issued"]) <= Decimal("0.00005")
        )


def test_site_flows_and_recovery(net):
    counted, moved = Counter(), Counter()
    for _, original, sign in net.done():
        for member in ("issued", "returned") if original.kind in COUNTER else ():
            for cup, n in lines(original.event, member):
                counted[cup, original.event["site"], member] += sign * n
                counted[cup, "total", member] += sign * n
        if original.kind in ("supply", "retire"):
            for cup, n in lines(original.event, "cups"):
                moved[cup, original.kind] += sign * n
    for cup in CUP_TYPES:  # all cups of an opening count as supplied
        moved[cup, "supply"] -= opening_legs(net).get(f"supply({cup})", 0)
        moved[cup, "retire"] += opening_legs(net).get(f"retired({cup})", 0)
    rows = net.report("site-flows", totals="shown")
    assert {(r["cup_type"], r["site"], m): r[m] for r in rows for m in ("issued", "returned") if r[m]} == {
        k: n for k, n in counted.items() if n
    }
    assert all(r["net"] == r["issued"] - r["returned"] for r in rows)
    daily = net.report("return-rate-daily")
    assert sum(r["posted"] for r in daily) == sum(
        n for (_, s, m), n in counted.items() if s == "total" and m == "issued"
    )
    recovery = {r["cup_type"]: (r["supplied"], r["retired"], r["retired_g"]) for r in net.report("recovery")}
    assert {c: figures for c, figures in recovery.items() if any(figures)} == {  # a supply may have been reversed
        c: (moved[c, "supply"], moved[c, "retire"], 50 * moved[c, "retire"])
        for c in CUP_TYPES
        if moved[c, "supply"] or moved[c, "retire"]
    }


def test_retired_cups_and_batches(net):
    model, want = net.model, {}
    for site in model.sites:
        retired, batched = model.retired_at(site), model.batched_at(site)
        want |= {(site, c): (retired[c], batched[c], retired[c] - batched[c]) for c in retired.keys() | batched.keys()}
    rows = net.client.get("/v1/reports/retired-cups", scheme=model.scheme["scheme"])["items"]
    assert {(r["site"], r["cup_type"]): (r["retired"], r["batched"], r["waiting"]) for r in rows} == want
    made, sent, batches = Counter(), Counter(), Counter()
    for _, original, sign in net.done():
        if "batch" in original.event:
            for cup, n in lines(original.event, "cups"):
                made[cup] += sign * n
    for _, cups in model.batches.values():
        sent.update(cups)
        batches.update(cups.keys())
    rows = {r["cup_type"]: (r["batches"], r["batched"], r["remade"]) for r in net.report("recovery")}
    assert {c: figures for c, figures in rows.items() if any(figures)} == {
        c: (batches[c], sent[c], made[c]) for c in CUP_TYPES if batches[c] or made[c]
    }


def followed(net):
    """Waits until all entries were looked at for cups with identity."""
    [some] = net.client.items("/v1/cups", limit=1)[:1]
    wait_until(lambda: net.client.get(f"/v1/cups/{quote(some['cup_id'], safe='')}")["current"])


def test_trips(net):
    """Of each cup by itself: an issue, and the return anywhere that is the cup's next event of the counter."""
    followed(net)
    scheme, of_type, retired = net.model.scheme["scheme"], defaultdict(list), defaultdict(set)
    for issue, back in named_cups.trips(net.walks, scheme):
        if net.first <= issue.day <= net.last:
            of_type[issue.went_to.cup_type].append((issue, back))
    for cup, sightings in named_cups.by_cup(net.walks).items():
        for s in sightings:
            if s.kind == "retire" and s.scheme == scheme and net.first <= s.day <= net.last:
                retired[s.went_to.cup_type].add(cup)
    lived = Counter(issue.cup for issue, back in named_cups.trips(net.walks, None) if back)
    rows = {r["cup_type"]: r for r in net.report("trips")}
    assert rows.keys() == of_type.keys() | retired.keys() and of_type
    counts = defaultdict(dict)
    for row in net.report("trip-counts"):
        counts[row["cup_type"]][row["trips"]] = row["cups"]
    for cup_type, row in rows.items():
        trips = of_type[cup_type]
        made = Counter(issue.cup for issue, back in trips if back)
        cups = {issue.cup for issue, _ in trips}
        assert (row["cups"] or 0, row["issues"] or 0, row["trips"] or 0) == (len(cups), len(trips), made.total()), row
        assert counts[cup_type] == Counter(made[cup] for cup in cups), row
        hours = sorted((back.at - issue.at) / timedelta(hours=1) for issue, back in trips if back)
        if hours:
            assert abs(float(row["hours_out"]) - sum(hours) / len(hours)) < 0.0501, row
            assert abs(float(row["hours_out_half"]) - median(hours)) < 0.0501, row
        gone = retired[cup_type]
        assert (row["retired"] or 0) == len(gone), row
        if gone:
            assert abs(float(row["trips_until_retired"]) - sum(lived[cup] for cup in gone) / len(gone)) < 0.0051, row


def test_shrinkage(net):
    """Counts miss and find cups, and transits lose them, at the site that bears the loss. Reversals take it back."""
    model, want, handled = net.model, defaultdict(Counter), defaultdict(Counter)
    for entry, original, sign in net.done():
        event = original.event
        for member in ("issued", "returned") if original.kind in COUNTER else ():
            for cup, n in lines(event, member):
                handled[event["site"], cup][member] += sign * n
        if original.kind not in ("count", "transit_loss"):
            continue
        site = event["site"]
        if original.kind == "transit_loss":
            sent = model.dispatch(event["dispatch"]).event
            site = {"sender": sent["site"], "receiver": sent["to"]}.get(model.bearers[event["event_id"]])
        for account, cups in entry.legs.items():
            if account.startswith("unaccounted("):
                cup = model.unit(account)
                what = "lost" if original.kind == "transit_loss" else "missing" if cups * sign > 0 else "found"
                want[site, cup].update({what: -cups if what == "found" else cups, "gone": cups})
                want[site, cup]["amount"] += cups * model.value(cup, entry.day)
    rows = {(r["site"], r["cup_type"]): r for r in net.report("shrinkage")}
    assert rows.keys() == want.keys() and want
    for at, row in rows.items():
        figures = {k: row[k] for k in ("missing", "found", "lost", "gone")}
        assert figures == {k: want[at][k] for k in figures}, row
        assert net.minor(row["amount"]) == want[at]["amount"], row
        assert (row["issued"], row["returned"]) == (handled[at]["issued"], handled[at]["returned"]), row
    for part in ("missing", "found", "lost"):
        *listed, total = net.report("shrinkage-lines", part=part)
        assert total["cups"] == sum(r["cups"] for r in listed)
        assert abs(total["cups"]) == abs(sum(want[at][part] for at in want))


def till_of(net, entry, original):
    """The money that changed hands: as stated, or else by the tariff of the original's day of occurrence, or of its
    posting day if the cup type had none yet."""
    event, model = original.event, net.model
    if "amount" in event:
        return model.minor(event["amount"]) * (-1 if original.kind == "return" else 1)
    day = model.day_of(original.occurred)
    return sum(
        sign * n * (model.value(cup, day) or model.value(cup, original.day))
        for sign, member in ((1, "issued"), (-1, "returned"))
        for cup, n in lines(event, member)
    )


def test_day_totals_recorded(net):
    expected = defaultdict(Counter)
    for entry, original, sign in net.done():
        if original.kind in COUNTER:
            figures, till = expected[str(net.occurrence(entry, original)), original.event["site"]], till_of(
                net, entry, original
            )
            figures.update({m: sign * sum(n for _, n in lines(original.event, m)) for m in ("issued", "returned")})
            figures.update({"collected": sign * max(till, 0), "refunded": sign * max(-till, 0)})
    assert (
        len({e.day for e in net.model.entries if e.event and e.day != net.model.day_of(e.occurred)}) > 1
    ), "no late events"
    for query in ({}, {"from": net.first + 3 * DAY, "to": net.first + 5 * DAY}, {"site": next(iter(net.model.sites))}):
        rows = net.report("day-totals", **query)
        have = {
            (r["date"], r["site"]): {
                "issued": r["issued_recorded"],
                "returned": r["returned_recorded"],
                "collected": net.minor(r["collected_recorded"]),
                "refunded": net.minor(r["refunded_recorded"]),
            }
            for r in rows
        }
        first, last = str(query.get("from", net.first)), str(query.get("to", net.last))
        want = {k: dict(v) for k, v in expected.items() if first <= k[0] <= last and query.get("site", k[1]) == k[1]}
        assert have == want


def test_transfers(net):
    for day in (net.first + 2 * DAY, net.first + CLOSED // 2 * DAY, net.last):
        stood, came = Counter(), Counter()
        for dispatch, shipment in net.model.shipments.items():
            for c in shipment.event["cups"]:
                key = dispatch, c["cup_type"], c.get("condition", "sound")
                stood[key] += c["quantity"]
                came[key, "dispatch"] += c["quantity"]
        for entry, original, sign in net.done():
            if entry.day <= day and original.kind in ("dispatch", "receipt", "transit_loss"):
                dispatch = original.event.get("dispatch", original.event["event_id"])
                for c in original.event["cups"]:
                    key = dispatch, c["cup_type"], c.get("condition", "sound")
                    stood[key] += (sign if original.kind == "dispatch" else -sign) * c["quantity"]
                    came[key, original.kind] += sign * c["quantity"]
        oldest, newest = (net.report("transfers", as_of=day, order=order) for order in ("oldest", "newest"))
        assert newest == sorted(oldest, key=lambda row: -row["entry"]) and net.report("transfers", as_of=day) == oldest
        rows = {(r["event_id"], r["cup_type"], r["condition"]): r for r in oldest}
        assert {k: r["in_transit"] - r["over"] for k, r in rows.items()} == {k: n for k, n in stood.items() if n}
        assert {k: (r["sent"], r["received"], r["lost"]) for k, r in rows.items()} == {
            k: tuple(came[k, kind] for kind in ("dispatch", "receipt", "transit_loss")) for k in rows
        }
        assert rows or day < net.last
        assert all(
            r["state"] == ("over" if r["over"] else "short" if r["received"] + r["lost"] else "in_transit")
            for r in rows.values()
        )


def test_ledger_and_journal(net):
    scheme, accounts = net.model.scheme["scheme"], (
        "with_customers(cup-300)",
        "refund_variance",
        "in_transit(cup-200)",
        "tax",
    )
    own = [f"{a}({s})" for s in list(net.model.sites)[:2] for a in ("site_clearing",)] + [
        f"{a}({s},cup-450)" for s in list(net.model.sites)[:2] for a in ("site_stock", "stock_deposits", "damaged")
    ]
    journal = net.report("journal")
    feed = net.client.feed(scheme)
    assert [(r["entry"], r["account"]) for r in journal if r["account"]] == [
        (i["entry"], leg["account"]) for i in feed for leg in i["legs"]
    ]
    assert [r["entry"] for r in journal if not r["account"]] == [i["entry"] for i in feed if not i["legs"]]
    for account in (*accounts, *own):
        opening, *rows = net.report("general-ledger", account=account)
        assert [(r["entry"], r["debit"], r["credit"]) for r in rows] == [
            (r["entry"], r["debit"], r["credit"]) for r in journal if r["account"] == account
        ], account
        balance = (rows or [opening])[-1]["balance"]
        assert (balance if isinstance(balance, int) else net.minor(balance)) == net.model.balances[account], account
        for start, end in PERIODS:
            asked = {"from": net.first + start * DAY, "to": net.first + end * DAY}
            *_, closing = net.report("general-ledger", account=account, totals="shown", **asked)
            sides = [n if isinstance(n, int) else net.minor(n) for n in (closing["debit"], closing["credit"])]
            assert closing["kind"] == "closing"
            assert sides[0] - sides[1] == moved_between(net, asked["from"], asked["to"])[account], (account, asked)
        half = net.first + CLOSED // 2 * DAY
        later = net.report("general-ledger", account=account, **{"from": half})
        moved = sum(n for d, n in account_days(net, account).items() if d < str(half))
        moved += opening_legs(net).get(account, 0)
        assert (
            later[0]["balance"] if isinstance(later[0]["balance"], int) else net.minor(later[0]["balance"])
        ) == moved, account


PERIODS = ((0, CLOSED + 4), (3, CLOSED // 2), (CLOSED // 2, CLOSED // 2), (CLOSED - 1, CLOSED + 4), (5, 2))


def moved_between(net, first, last):
    """account -> the sum of the legs on it that were posted to days from the first through the last"""
    moved = Counter()
    for entry in net.model.entries:
        if first <= entry.day <= last:
            moved.update(entry.legs)
    return moved


def test_trial_balances_of_periods(net):
    def number(cell):
        return cell if isinstance(cell, int) else net.minor(cell)

    for start, end in PERIODS:
        first, last = net.first + start * DAY, net.first + end * DAY
        opening = moved_between(net, net.first, min(first - DAY, last))
        movement = moved_between(net, first, last)
        rows = net.report("trial-balance", as_of=last, **{"from": first})
        have = {}
        for row in rows:
            sides = [number(row[c]) for c in ("opening_debit", "opening_credit", "movement_debit", "movement_credit")]
            closing = number(row["debit"]) - number(row["credit"])
            if row["account"] == "total":
                assert sides[0] == sides[1] and sides[2] == sides[3] and not closing, row
            else:
                have[row["account"]] = sides[0] - sides[1], sides[2] - sides[3], closing
        assert have == {
            a: (opening[a], movement[a], opening[a] + movement[a])
            for a in opening.keys() | movement.keys()
            if opening[a] or opening[a] + movement[a]
        }, (start, end)


EARNED = {
    **dict.fromkeys(("service_fees", "forfeits", "loss_charges", "interest"), "income"),
    **dict.fromkeys(("handling_fees", "bank_charges"), "expenses"),
    "refund_variance": "variance",
}


def test_income_statements(net):
    """Each account, section and result of a period is the sum of the model's legs, and so is the period before."""
    for start, end in PERIODS:
        first, last = net.first + start * DAY, net.first + end * DAY
        days = max((last - first).days + 1, 0)
        wanted = defaultdict(Counter)
        for column, moved in (
            ("amount", moved_between(net, first, last)),
            ("previous", moved_between(net, first - days * DAY, first - DAY)),
        ):
            for account, section in EARNED.items():
                for at in {(section, account), (section, "total"), ("result", "total")} - {("variance", "total")}:
                    wanted[at][column] -= moved[account]
        rows = net.report("income-statement", **{"from": first, "to": last})
        have = {(r["section"] if r["section"] in EARNED.values() else "result", r["account"]): r for r in rows}
        assert {at: net.minor(r["amount"]) for at, r in have.items()} == {at: n["amount"] for at, n in wanted.items()}
        assert rows[-1]["section"] == ("shortfall" if wanted["result", "total"]["amount"] < 0 else "surplus")
        for at, row in have.items():
            if first == net.first:
                assert row["previous"] is None
            else:
                assert net.minor(row["previous"]) == wanted[at]["previous"], at
                assert (row["previous_from"], row["previous_to"]) == (str(first - days * DAY), str(first - DAY))


def taxes_between(net, first, last):
    """(direction, what, rate) -> base and tax. The tax of a site's fee is rounded once: a rate's share is the rounded
    sum of the rates up to it, less that of the lower ones."""
    base, tax, supplies = Counter(), Counter(), {"service": "service_fees", "standing": "standing_fees"}
    for day, settlement in net.closed.items():
        for rows in settlement["fee_rows"].values() if first <= day <= last else ():
            for fee in ("service", "standing", "handling"):
                by_rate = Counter()
                for (word, _, _, each, rate), n in rows.items():
                    by_rate[rate] += each * n if word == fee else 0
                exact = before = 0
                for rate, amount in sorted(by_rate.items()):
                    at, sign = (
                        (("output", supplies[fee], rate), 1)
                        if fee in supplies
                        else (("input", "handling_fees", rate), -1)
                    )
                    exact += amount * rate
                    base[at] += sign * amount
                    tax[at] += sign * (round(exact) - before)
                    before = round(exact)
    for entry in net.model.entries:
        original = net.model.by_id[entry.event["reverses"]] if entry.kind == "reversal" else entry
        if first <= entry.day <= last and original.kind in ("forfeit", "reinstate"):
            what = "forfeits" if original.kind == "forfeit" else "reinstated"
            at = "output", what, Fraction(net.model.terms(original.day)["tax_rate"])
            base[at] -= entry.legs.get("forfeits", 0)
            tax[at] -= entry.legs.get("tax", 0)
        elif first <= entry.day <= last and entry.kind == "journal":
            tax[None, "journals", None] -= entry.legs.get("tax", 0)
    return {at: (base[at] if at[0] else None, tax[at]) for at in base.keys() | tax.keys() if base[at] or tax[at]}


def test_taxes(net):
    """By direction, supply and rate; their sum is what the account moved by."""
    for start, end in PERIODS:
        first, last = net.first + start * DAY, net.first + end * DAY
        have, totals, wanted = {}, {}, taxes_between(net, first, last)
        for row in net.report("tax", **{"from": first, "to": last}):
            rate = Fraction(row["rate"]) if row["rate"] else None
            figures = net.minor(row["base"]) if row["base"] else None, net.minor(row["tax"])
            (totals if row["what"] == "total" else have)[row["direction"], row["what"], rate] = figures
        assert {at: n for at, n in have.items() if n[0] or n[1]} == wanted, (start, end)
        for direction in ("output", "input"):
            sums = totals.get((direction, "total", None), (0, 0))
            assert sums == tuple(sum(n[i] for at, n in wanted.items() if at[0] == direction) for i in (0, 1))
        assert totals[None, "total", None] == (None, -moved_between(net, first, last)["tax"])
    met = {at[1] for at in taxes_between(net, net.first, net.last)}
    assert met & {"service_fees", "handling_fees", "forfeits"}, met  # random terms and days may lack two of them


def carried_through(net, day):
    """participant -> the clearing of its sites that no close through the day has settled"""
    left = Counter()
    for entry in net.model.entries:
        for account, amount in entry.legs.items():
            if entry.day <= day and account.startswith("site_clearing("):
                left[net.model.sites[account[len("site_clearing(") : -1]]["participant"]] += amount
    return {participant: amount for participant, amount in left.items() if amount}


def test_ageing_is_what_the_trial_balance_says(net):
    for day in (net.first + CLOSED // 2 * DAY, net.last):
        total, waiting = Counter(), {}
        for row in net.report("ageing", as_of=day):
            assert net.minor(row["total"]) == net.minor(row["carried"]) + sum(
                net.minor(row[b]) for b in ("current", "days_1_7", "days_8_30", "days_31_60", "days_over_60", "undated")
            )
            # Only journals put anything into arrears here, and no payment gives that a date before a close takes it up.
            assert not net.minor(row["undated"]) or row["account"].startswith("arrears(")
            if row["account"]:
                total[row["account"]] += net.minor(row["total"])
                assert not net.minor(row["carried"])
            else:
                waiting[row["participant"]] = net.minor(row["carried"])
        assert waiting == carried_through(net, min(day, net.first + (CLOSED - 1) * DAY))
        assert {a: n for a, n in total.items() if n} == {
            r["account"]: net.minor(r["debit"]) - net.minor(r["credit"])
            for r in net.report("trial-balance", as_of=day)
            if r["account"].partition("(")[0] in ("settlement_due", "arrears")
        }


def test_what_is_kept_of_a_closed_day_is_what_the_entries_say(net, shared):
    [(scheme,)] = shared.database.rows("SELECT id FROM scheme WHERE code = %s", net.model.scheme["scheme"])
    days = [
        d
        for (d,) in shared.database.rows(
            "SELECT business_date FROM business_day WHERE scheme = %s AND state = 'closed'", scheme
        )
    ]
    assert len(days) == CLOSED
    wait_until(
        lambda: shared.database.rows("SELECT count(*) FROM particulars WHERE scheme = %s", scheme) == [(CLOSED,)],
        "the particulars are kept",
    )
    for day in days:
        kept = shared.database.rows("SELECT * FROM cup_day WHERE scheme = %s AND business_date = %s", scheme, day)
        assert sorted(row[2:] for row in kept) == sorted(
            shared.database.rows("SELECT * FROM cup_day_of(%s, %s)", scheme, day)
        )


def legs_by_day(net):
    """(day, account) -> what the account of money moved by, from the model's entries"""
    moved = Counter()
    for entry in net.model.entries:
        for account, amount in entry.legs.items():
            if not net.model.unit(account):
                moved[str(entry.day), account] += amount
    return moved


def signed(net, row):
    return (net.minor(row["debit"]) if row["debit"] else 0) - (net.minor(row["credit"]) if row["credit"] else 0)


def test_journal_summary(net):
    """Each day, each account of money has moved by what the model's legs on it add up to, and the day balances. The
    tax on handling fees stands apart from other tax. The movements of all days are the trial balance. Codes change
    half way."""
    half = net.first + CLOSED // 2 * DAY
    kind = {"account": "site_clearing", "code": "1310", "name": "Dealings"}
    own = {"account": f"site_clearing({min(net.model.sites)})", "code": "1311", "name": "Dealings of one"}
    path = f"/v1/schemes/{net.model.scheme['scheme']}/office-accounts/"
    for day, rows in ((net.first, [kind]), (half, [{**kind, "code": "1400"}, own])):
        net.client.put(f"{path}{day}", {"accounts": rows})
    lines, totals, uncoded = defaultdict(list), {}, Counter()
    for row in net.report("journal-summary"):
        if row["line"] == "total":
            totals[row["date"]] = row
        else:
            lines[row["date"], row["account"]].append(row)
            uncoded[row["date"]] += row["code"] is None
    wanted = {key: amount for key, amount in legs_by_day(net).items() if amount}
    for (day, account), amount in wanted.items():
        assert sum(signed(net, r) for r in lines[day, account]) == amount, (day, account)
        if account != "tax":
            assert len(lines[day, account]) == 1
        code = None
        if account.startswith("site_clearing("):
            code = "1310" if day < str(half) else "1311" if account == own["account"] else "1400"
        assert {r["code"] for r in lines[day, account]} == {code}
    assert {key for key, rows in lines.items() if rows} - wanted.keys() <= {(d, "tax") for d in totals}
    input_tax = Counter()
    for (day, _), (_, _, _, handling_tax) in net.model.gross_fees.items():
        input_tax[str(day)] += handling_tax
    said = {
        day: sum(signed(net, r) for r in rows if r["text"].endswith("tax on handling fees"))
        for (day, account), rows in lines.items()
        if account == "tax"
    }
    assert {d: n for d, n in said.items() if n} == {d: n for d, n in input_tax.items() if n}
    for day, row in totals.items():
        assert row["debit"] == row["credit"]
        debits = [signed(net, r) for (d, _), rows in lines.items() if d == day for r in rows if r["debit"]]
        assert net.minor(row["debit"]) == sum(debits)
        assert row["without_code"] == uncoded[day]
    through = Counter()
    for (_, account), rows in lines.items():
        through[account] += sum(signed(net, r) for r in rows)
    balance = {
        r["account"]: net.minor(r["debit"]) - net.minor(r["credit"])
        for r in net.report("trial-balance", as_of=net.last)
        if r["unit"] == net.model.scheme["currency"] and r["account"] != "total"
    }
    assert {a: n for a, n in through.items() if n} == balance


def test_participant_journal_summary(net):
    """Each day, a participant's lines are those of its statement, its fees and taxes those of the model, each gross;
    they sum to what it came to owe."""
    statement, owed = defaultdict(Counter), Counter()
    for row in net.report("participant-statement"):
        at = row["participant"], row["date"]
        for column in ("opening", "collected", "refunded", "fees", "tax", "stock", "other", "paid", "closing"):
            statement[at][column] += net.minor(row[column])
    fees = defaultdict(Counter)
    for (day, site), figures in net.model.gross_fees.items():
        at = net.model.sites[site]["participant"], str(day)
        for word, figure in zip(("service_fee", "service_fee_tax", "handling_fee", "handling_fee_tax"), figures):
            fees[at][word] += figure if word.startswith("service") else -figure
    for entry in net.model.entries:
        for account, amount in entry.legs.items() if entry.kind != "opening" else ():
            name, _, owner = account.partition("(")
            if name in ("site_clearing", "settlement_due", "arrears"):
                code = owner[:-1]
                owner = net.model.sites[code]["participant"] if name == "site_clearing" else code
                owed[owner, str(entry.day)] += amount
    items, totals = defaultdict(dict), {}
    for row in net.report("participant-journal-summary"):
        at = row["participant"], row["date"]
        if row["line"] == "total":
            totals[at] = row
        else:
            items[at][row["item"]] = signed(net, row)
            if row["item"] == "pool":
                assert (net.minor(row["opening"]), net.minor(row["closing"])) == (
                    statement[at]["opening"],
                    statement[at]["closing"],
                )
    assert items.keys() == totals.keys()
    for at, figures in statement.items():
        stock = "stock_deposits" if net.model.on_deposit else "losses"
        wanted = {
            "deposits_collected": figures["collected"],
            "deposits_refunded": -figures["refunded"],
            **fees[at],
            stock: figures["stock"],
            "other": figures["other"],
            "payments": figures["paid"],
            "pool": -owed[at],
        }
        assert items[at] == {k: v for k, v in wanted.items() if v}, at
        assert sum(items[at].values()) == 0, at
        assert sum(v for k, v in fees[at].items()) == figures["fees"] + figures["tax"], at
        if at in totals:
            assert totals[at]["debit"] == totals[at]["credit"]
    assert items.keys() <= statement.keys()


FEES = ("service_fee", "service_tax", "handling_fee", "handling_tax", "standing_fee", "standing_tax")
DEALINGS = ("collected", "refunded", *FEES, "transfers_and_losses", "other")


def test_statements_of_account(net):
    """From the opening to the closing balance of each participant, in its own favour: the days are those of the model,
    with each fee and tax gross; the sites sum to the days, and what is due to the closing balance."""
    figures, owed, fees = defaultdict(Counter), defaultdict(Counter), defaultdict(Counter)
    for row in net.report("participant-statement"):
        for theirs, ours in (("collected", -1), ("refunded", 1), ("stock", -1), ("other", -1)):
            figures[row["participant"], row["date"]][theirs] += ours * net.minor(row[theirs])
    for (day, site), gross in net.model.gross_fees.items():
        fees[net.model.sites[site]["participant"], str(day)].update(dict(zip(FEES[:4], gross)))
    for entry in net.model.entries:
        for account, amount in entry.legs.items():
            name, _, owner = account.partition("(")
            if name in ("site_clearing", "settlement_due", "arrears"):
                code = owner[:-1]
                owner = net.model.sites[code]["participant"] if name == "site_clearing" else code
                owed[owner]["opening" if entry.kind == "opening" else str(entry.day)] += amount
    rows, seen = defaultdict(lambda: defaultdict(list)), 0
    for row in net.report("statement-of-account"):
        rows[row["participant"]][row["section"]].append(row)
    assert rows.keys() == {site["participant"] for site in net.model.sites.values()}
    for participant, of in rows.items():
        assert [len(of[part]) for part in ("operator", "participant", "opening", "closing", "sites")] == [1] * 5
        balance = net.minor(of["opening"][0]["balance"])
        assert balance == -owed[participant]["opening"]
        assert [r["date"] for r in of["day"]] == sorted({r["date"] for r in of["day"]}) and not of["payment"]
        for row in of["day"]:
            at, said = (participant, row["date"]), {k: net.minor(row[k]) for k in DEALINGS}
            assert sum(said.values()) == net.minor(row["amount"]) == -owed[participant].pop(row["date"], 0), row
            balance += net.minor(row["amount"])
            assert net.minor(row["balance"]) == balance
            service, service_tax, handling, handling_tax = (fees[at][k] for k in FEES[:4])
            assert said["service_fee"] + said["standing_fee"] == -service, row
            assert said["service_tax"] + said["standing_tax"] == -service_tax, row
            assert (said["handling_fee"], said["handling_tax"]) == (handling, handling_tax), row
            assert said["transfers_and_losses"] == figures[at]["stock"] and said["other"] == figures[at]["other"]
            assert (said["collected"], said["refunded"]) == (figures[at]["collected"], figures[at]["refunded"])
            seen += 1
        assert not [day for day, n in owed[participant].items() if n and day != "opening"], participant
        [closing], [all_sites] = of["closing"], of["sites"]
        assert net.minor(closing["balance"]) == balance == sum(net.minor(r["amount"]) for r in of["due"])
        for column in (*DEALINGS, "amount"):
            assert net.minor(closing[column]) == sum(net.minor(r[column]) for r in of["day"]), column
            assert net.minor(all_sites[column]) == sum(net.minor(r[column]) for r in of["site"]), column
            if column not in ("other", "amount"):  # journals are of no site
                assert closing[column] == all_sites[column]
    assert seen > CLOSED
