#!/usr/bin/env python3
# SPDX-License-Identifier: ISC
"""A bank, as far as the pool sees one: it reads payment files, does as they say, and writes a statement of that.

    bank.py --account 00001000 --id 2026-05-13 FILE... > statement.xml

It knows the standard's messages pain.001.001.09, pain.008.001.08 and camt.053.001.08, and nothing of the service.
"""
import argparse
import sys
from dataclasses import dataclass, replace
from datetime import date, datetime, timezone
from decimal import Decimal
from xml.etree import ElementTree
from xml.sax.saxutils import escape

PAIN_001 = "urn:iso:std:iso:20022:tech:xsd:pain.001.001.09"
PAIN_008 = "urn:iso:std:iso:20022:tech:xsd:pain.008.001.08"
CAMT_053 = "urn:iso:std:iso:20022:tech:xsd:camt.053.001.08"


@dataclass(frozen=True)
class Order:
    end_to_end: str
    amount: Decimal  # of the customer's account: negative when it pays
    currency: str
    requested_on: str
    own_account: str
    other_name: str
    other_account: str


@dataclass(frozen=True)
class Booking:
    amount: Decimal
    end_to_end: str = ""
    reference: str = ""  # the bank's own
    status: str = "BOOK"
    return_reason: str = ""
    reversal: bool = False
    details: tuple = ()  # (end to end, amount) each, where it books many together
    day: str = ""  # on which it is booked; the statement's unless given
    instructed: str = ""  # "960 ISK", where the bank exchanged it


def _texts(element, namespace, path):
    return [found.text for found in element.iterfind("/".join(f"{{{namespace}}}{step}" for step in path.split("/")))]


def _text(element, namespace, path):
    texts = _texts(element, namespace, path)
    if len(texts) != 1:
        raise ValueError(f"{path} stands {len(texts)} times")
    return texts[0]


def _account(element, namespace, path):
    found = _texts(element, namespace, f"{path}/Id/IBAN") + _texts(element, namespace, f"{path}/Id/Othr/Id")
    if len(found) != 1:
        raise ValueError(f"{path} is {found}")
    return found[0]


def _check_sums(element, namespace, orders, where):
    count, total = int(_text(element, namespace, "NbOfTxs")), Decimal(_text(element, namespace, "CtrlSum"))
    if (count, total) != (len(orders), sum(abs(o.amount) for o in orders)):
        raise ValueError(
            f"{where}: says {count} and {total}, has {len(orders)} and" f" {sum(abs(o.amount) for o in orders)}"
        )


def read_file(data):
    """Returns (message id, the orders of a payment file). Refuses a file with wrong control sums, as a bank does."""
    root = ElementTree.fromstring(data)
    namespace = root.tag[1:].partition("}")[0]
    collects = namespace == PAIN_008
    if namespace not in (PAIN_001, PAIN_008):
        raise ValueError(f"{root.tag} is no payment file")
    message = root[0]
    own, other = ("Cdtr", "Dbtr") if collects else ("Dbtr", "Cdtr")
    orders = []
    for block in message.iterfind(f"{{{namespace}}}PmtInf"):
        of_block = []
        day = _text(block, namespace, "ReqdColltnDt" if collects else "ReqdExctnDt/Dt")
        for one in block.iterfind(f"{{{namespace}}}{'DrctDbtTxInf' if collects else 'CdtTrfTxInf'}"):
            stated = one.find(f"{{{namespace}}}InstdAmt" if collects else f"{{{namespace}}}Amt/{{{namespace}}}InstdAmt")
            amount = Decimal(stated.text)
            of_block.append(
                Order(
                    _text(one, namespace, "PmtId/EndToEndId"),
                    amount if collects else -amount,
                    stated.get("Ccy"),
                    day,
                    _account(block, namespace, f"{own}Acct"),
                    _text(one, namespace, f"{other}/Nm"),
                    _account(one, namespace, f"{other}Acct"),
                )
            )
        _check_sums(block, namespace, of_block, "a block")
        orders += of_block
    header = message.find(f"{{{namespace}}}GrpHdr")
    _check_sums(header, namespace, orders, "the message")
    return _text(header, namespace, "MsgId"), orders


def book(orders, prefix="B"):
    """A booking for each order, as it was given."""
    return [Booking(order.amount, order.end_to_end, f"{prefix}-{n}") for n, order in enumerate(orders, 1)]


def _sign(amount):
    return "DBIT" if amount < 0 else "CRDT"


def _amount(amount, currency):
    return f'<Amt Ccy="{currency}">{abs(amount)}</Amt><CdtDbtInd>{_sign(amount)}</CdtDbtInd>'


def _detail(end_to_end, amount, currency, reason, instructed):
    refs = f"<Refs><EndToEndId>{escape(end_to_end)}</EndToEndId></Refs>" if end_to_end else ""
    back = f"<RtrInf><Rsn><Cd>{reason}</Cd></Rsn></RtrInf>" if reason else ""
    size, _, other = instructed.partition(" ")
    said = f'<AmtDtls><InstdAmt><Amt Ccy="{other}">{size}</Amt></InstdAmt></AmtDtls>' if instructed else ""
    return f"<TxDtls>{refs}{_amount(amount, currency)}{said}{back}</TxDtls>"


def _entry(booking, currency, day):
    details = booking.details or ((booking.end_to_end, booking.amount),)
    reference = f"<AcctSvcrRef>{escape(booking.reference)}</AcctSvcrRef>" if booking.reference else ""
    reversal = "<RvslInd>true</RvslInd>" if booking.reversal else ""
    return (
        f"<Ntry>{_amount(booking.amount, currency)}{reversal}<Sts><Cd>{booking.status}</Cd></Sts>"
        f"<BookgDt><Dt>{booking.day or day}</Dt></BookgDt>{reference}<BkTxCd><Prtry><Cd>TRF</Cd></Prtry></BkTxCd>"
        + "<NtryDtls>"
        + "".join(_detail(e, a, currency, booking.return_reason, booking.instructed) for e, a in details)
        + "</NtryDtls></Ntry>"
    )


def _balance(code, amount, currency, day):
    return (
        f"<Bal><Tp><CdOrPrtry><Cd>{code}</Cd></CdOrPrtry></Tp>{_amount(amount, currency)}"
        f"<Dt><Dt>{day}</Dt></Dt></Bal>"
    )


def statement(
    statement_id,
    account,
    currency,
    day,
    bookings,
    opening=Decimal(0),
    message_id=None,
    created_at=None,
    closing=None,
    sequence=None,
):
    """The bytes of a camt.053. `closing` adds up unless it is given: a bank may be wrong."""
    created_at = created_at or datetime.now(timezone.utc).isoformat(timespec="seconds")
    if closing is None:
        closing = opening + sum(b.amount for b in bookings if b.status == "BOOK")
    counted = f"<ElctrncSeqNb>{sequence}</ElctrncSeqNb>" if sequence else ""
    form = "IBAN" if account[:2].isalpha() and account[2:4].isdigit() else "Othr"
    named = f"<IBAN>{account}</IBAN>" if form == "IBAN" else f"<Othr><Id>{account}</Id></Othr>"
    text = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<Document xmlns="{CAMT_053}"><BkToCstmrStmt>'
        f"<GrpHdr><MsgId>{message_id or 'M-' + statement_id}</MsgId><CreDtTm>{created_at}</CreDtTm></GrpHdr>"
        f"<Stmt><Id>{statement_id}</Id>{counted}<Acct><Id>{named}</Id><Ccy>{currency}</Ccy></Acct>"
        f"{_balance('OPBD', opening, currency, day)}{_balance('CLBD', closing, currency, day)}"
        + "\n".join(_entry(b, currency, day) for b in bookings)
        + "</Stmt></BkToCstmrStmt></Document>\n"
    )
    return text.encode()


def come_back(booking, reason="AC04", reference=None):
    """The return of a booking, with the reason's code (closed account, from memory)."""
    return replace(
        booking, amount=-booking.amount, return_reason=reason, reference=reference or booking.reference + "-R"
    )


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--account", required=True, help="the customer's account")
    options.add_argument("--id", required=True, help="of the statement")
    options.add_argument("--date", default=str(date.today()), help="the booking date; today unless given")
    options.add_argument("files", nargs="+", help="payment files")
    chosen = options.parse_args()
    orders = []
    for name in chosen.files:
        with open(name, "rb") as file:
            orders += read_file(file.read())[1]
    strangers = [o.own_account for o in orders if o.own_account != chosen.account]
    if strangers or len({o.currency for o in orders}) != 1:
        sys.exit(f"not of account {chosen.account}, or of several currencies")
    sys.stdout.buffer.write(
        statement(chosen.id, chosen.account, orders[0].currency, chosen.date, book(orders, chosen.id))
    )


if __name__ == "__main__":
    main()
