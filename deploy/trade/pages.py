# SPDX-License-Identifier: ISC
"""Prints for people: plain text of at most 100 columns, figures aligned to the right."""

import textwrap
from decimal import Decimal

WIDTH = 98

CAUTIONS = """\
Deposits are other people's money: trust, unclaimed-property and tax law differ by place, and the
figures need a licensed accountant. Payment files move money: two people approve, and the bank's
own limits hold. Counts say nothing about hygiene: cups go back into service only as local food
codes allow, damaged ones never. Environmental claims need evidence that local rules accept. An
event carries no personal data."""


def heading(text, aside=""):
    print("\n" + f"{text}{aside:>{WIDTH - len(text)}}".rstrip() + "\n" + "-" * WIDTH)


def paragraph(title, text):
    """Text beside a short title."""
    print(textwrap.fill(text, WIDTH, initial_indent=f"  {title:<12} ", subsequent_indent=" " * 15))


def number(value):
    """A figure as people write it: thousands apart, decimals as the service gave them."""
    return f"{Decimal(value):,}" if value not in (None, "") else ""


def is_nothing(cell):
    return cell.strip("0.,-") == ""


def table(columns, rows, words=1, indent=4, keep=()):
    """The first `words` columns hold text. The other columns are left out if they hold nothing but zeros."""
    shown = [
        i for i, name in enumerate(columns) if i < words or name in keep or any(not is_nothing(row[i]) for row in rows)
    ]
    widths = {i: max(len(cell) for cell in [columns[i], *(row[i] for row in rows)]) for i in shown}
    for row in [columns, *rows]:
        cells = [f"{row[i]:<{widths[i]}}" if i < words else f"{row[i]:>{widths[i]}}" for i in shown]
        print((" " * indent + "  ".join(cells)).rstrip())


def settlement(answer):
    currency = answer["currency"]
    print(f"\n  {answer['scheme']} closes, amounts in {currency}:")
    figures = ["brought_forward", "collected", "refunded", "fees", "tax", "stock", "other"]
    rows = []
    for position in answer["positions"]:
        sums = [sum(Decimal(site[figure]) for site in position["sites"]) for figure in figures]
        rows.append(
            [position["participant"], *map(number, sums), number(position["arrears"]), number(position["amount"])]
        )
    names = ["forward", "collected", "refunded", "fees", "tax", "stock", "other"]
    table(["participant", *names, "arrears", "position"], rows, keep=("position",))
    for payment in answer["payments"]:
        held = f"  held: {payment['held']['reason']}" if "held" in payment else ""
        print(
            f"    {payment['from']:<10} pays {payment['to']:<10} {number(payment['amount']):>13} {currency}"
            f"  due {payment['due_on']}{held}"
        )
    for carried in answer["carried_forward"]:
        print(
            f"    {carried['participant']:<10} carries   {' ':<11}{number(carried['amount']):>13} {currency}  "
            "forward, below the minimum payment"
        )


def deposit_cover(report, currency):
    """The report, with the lines of single sites summed up and without empty lines."""
    heading(f"Deposit cover of {report['scheme']} at the end of {report['as_of']}", f"in {currency}")
    figures, lines = report["columns"][3:], {}
    for item in report["items"]:
        something = [name for name in figures if name != "refund_value" and not is_nothing(str(item[name] or ""))]
        if not something and item["item"] != "unexplained":
            continue
        name = "all sites" if item["section"] == "stock" else item["item"]
        lines.setdefault((item["section"], name, item["cup_type"] or ""), []).append(item)
    rows = [
        [*words, *(total(name, [item[name] for item in items]) for name in figures)] for words, items in lines.items()
    ]
    table(report["columns"], rows, words=3, keep=("difference",))


def withdrawable(report, currency):
    """A line for each step that counts, and the result."""
    heading(f"What the operator of {report['scheme']} could take out and touch no money of others", f"in {currency}")
    lines = {}
    for item in report["items"]:
        lines.setdefault(item["step"], []).append(item["counted"])
    table(["step", "counted"], [[step, total("counted", cells)] for step, cells in lines.items()], keep=("counted",))


def total(name, cells):
    """The sum of a column's figures, as far as they are there. A value per cup is the same in all lines."""
    cells = [cell for cell in cells if cell is not None]
    if not cells:
        return ""
    return number(cells[0] if name == "refund_value" else sum(map(Decimal, cells)))


def stock(report):
    """One line per place, one column per cup type, damaged cups in brackets."""
    heading(f"Where the cups of {report['scheme']} are at the end of {report['as_of']}", "[n]: n more, damaged")
    places, cup_types = {}, []
    for item in report["items"]:
        place = places.setdefault(item["site"] or item["place"], {})
        place[item["cup_type"]] = (item["sound"] or 0, item["damaged"] or 0)
        if item["cup_type"] not in cup_types:
            cup_types.append(item["cup_type"])
    rows = []
    for name, cups in places.items():
        cells = (cups.get(cup_type, (0, 0)) for cup_type in cup_types)
        rows.append([name, *(f"{sound:,}" + (f" [{damaged}]" if damaged else "    ") for sound, damaged in cells)])
    table(["place", *(f"{cup_type}    " for cup_type in cup_types)], rows)


def ageing(report, currency):
    """The amounts due and in arrears now: payments are confirmed in the business day that contains now."""
    heading(
        f"Not paid yet in {report['scheme']}, and payments that came back, as of {report['as_of']}", f"in {currency}"
    )
    words = report["columns"][:4]
    figures = report["columns"][4 : report["columns"].index("carried") + 1]
    rows = [[item[name] or "" for name in words] + [number(item[name]) for name in figures] for item in report["items"]]
    if rows:
        table([*words, *figures], rows, words=len(words), keep=("total",))
    else:
        print("    nothing")


def exceptions(found):
    """`found`: scheme, event and exception of each."""
    heading(f"Exceptions: {len(found)} recorded facts that a person should look at")
    kinds = {}
    for scheme, event, exception in found:
        kinds.setdefault((scheme, exception["exception"]), []).append((event, exception))
    rows = []
    for (scheme, name), cases in sorted(kinds.items()):
        event, exception = cases[0]
        figures = [f"{exception['quantity']:,} {exception['cup_type']}"] if "quantity" in exception else []
        figures += [exception["amount"]] if "amount" in exception else []
        where, when = event.get("site", "no site"), event["occurred_at"][:16].replace("T", " ")
        rows.append([scheme, name, f"{event['kind']} at {where}, {when}", ", ".join(figures), f"{len(cases):,}"])
    table(["scheme", "exception", "for example", "figures", "times"], rows, words=4)


def checks(answer):
    """The count of each check, over all schemes. A check that does not hold has a line with its scheme."""
    heading(f"The books' invariants, proven from the raw rows: {answer['verdict']}", "things examined")
    examined, bad = {}, []
    for item in answer["items"]:
        examined[item["check"]] = examined.get(item["check"], 0) + item["examined"]
        if item["verdict"] != "holds":
            bad.append(f"{item['scheme']}: {item['check']} is {item['verdict']}, {item['broken']:,} things")
    cells = [f"{check:<22}{count:>7,}" for check, count in examined.items()]
    rows = (len(cells) + 2) // 3
    for row in range(rows):
        print(("    " + "  ".join(f"{cell:<29}" for cell in cells[row::rows])).rstrip())
    for line in bad:
        print(f"    {line}")


def day(scheme, outcomes, seconds, answer):
    """A day in a line: its events, the payments of its close, and the seal."""
    posted = [f"{outcomes['recorded']:,} events"]
    posted += [f"{outcomes[outcome]:,} {outcome}" for outcome in ("duplicate", "rejected") if outcomes[outcome]]
    paid = sum(Decimal(payment["amount"]) for payment in answer["payments"])
    print(
        f"  {scheme:<12} {', '.join(posted)} ({seconds:.1f} s); {len(answer['payments'])} payments,"
        f" {paid:,} {answer['currency']}; seal {answer['seal']['seal'][:8]}"
    )


def where_to_look(places):
    heading("Where to look in a browser", "each page has a picture")
    for what, address in places:
        print(f"  {what:<27} {address}")
