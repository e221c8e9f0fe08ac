# SPDX-License-Identifier: ISC
"""Two schemes that take back each other's cups: their reference data, their agreements, and what H has followed.

An agreement starts on a business day that has not begun, so a test that would use one today writes it as the
database's owner does."""
from decimal import Decimal

from harness import wait_until
from network import CUPS, at, reference, scheme

HOME, HOST = "tern-bay", "petrel-island"
ZONES = {HOME: "America/St_Johns", HOST: "America/Miquelon"}


def two_schemes(day, home_terms="on_loan", host_terms="on_loan", **more):
    """tern-bay in CAD, with its sites anchor and brick, and petrel-island in EUR, with its sites ferry and light."""
    fees = {"handling_fee": "0.04", "tax_rate": "0.15"}
    schemes = [
        scheme(
            HOME,
            day,
            {"cup-300": "2.50", "cup-450": "3.50"},
            stock_terms=home_terms,
            **more.get("home", {"terms": [fees]}),
        ),
        scheme(
            HOST,
            day,
            {"cup-300": "1.80", "cup-450": "2.40"},
            currency="EUR",
            time_zone=ZONES[HOST],
            stock_terms=host_terms,
            **more.get("host", {"terms": [fees]}),
        ),
    ]
    sites = {
        "anchor": (HOME, "hearth"),
        "brick": (HOME, "miller"),
        "ferry": (HOST, "wharf"),
        "light": (HOST, "keeper"),
    }
    return reference(schemes, sites, CUPS)


def agree(service, day, values, home=HOME, host=HOST, of="host", rate="1"):
    """`values` {cup type: minor units} hold from a business day of the host, in the currency of `of`."""
    database = service.database
    signers = []
    for scheme_code in (home, host):
        name = f"signer-of-{scheme_code}"
        if not database.rows("SELECT FROM api_key WHERE name = %s", name):
            service.create_key(name, "accountant", holder=f"Signer of {scheme_code}")
        signers.append(database.rows("SELECT id FROM api_key WHERE name = %s", name)[0][0])
    types = dict(database.rows("SELECT code, id FROM cup_type"))
    chosen = sorted((types[code], amount) for code, amount in values.items())
    rate_e12 = int(Decimal(rate) * 10**12)
    database.run(
        f"""SELECT begin_changes({signers[0]}, now(), 'agreed', NULL);
            INSERT INTO agreement
            SELECT h.id, k.id, '{day}', {of == 'host'}, {rate_e12}, ARRAY{[t for t, _ in chosen]}::integer[],
                   ARRAY{[a for _, a in chosen]}::bigint[], {signers[0]}, {signers[1]}
              FROM scheme h, scheme k WHERE h.code = '{home}' AND k.code = '{host}';
            UPDATE network_head SET reference_version = reference_version + 1;
            UPDATE scheme_head SET reference_version = (SELECT reference_version FROM network_head)"""
    )


def behind(database):
    """How many entries of hosts their homes have still to follow."""
    return database.rows(
        """SELECT count(*) FROM following_place p
             JOIN agreed_amount a ON (a.scheme, a.home, a.host) = (p.host, p.home, p.host) AND a.entry > p.entry"""
    )[0][0]


def followed(service):
    """Waits until each home has followed all its hosts."""
    wait_until(lambda: behind(service.database) == 0, lambda: f"followed:\n{service.log_text()}")


def at_host(day, clock="10:00"):
    return at(day, clock, ZONES[HOST])
