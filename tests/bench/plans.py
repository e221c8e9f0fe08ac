# SPDX-License-Identifier: ISC
"""Measures a plan of moves for many sites. Reference data and stock come by requests, the history by SQL."""
from datetime import timedelta

import network
from harness import Database, new_service
from large_network import timed

SITES, HUBS, DAYS = 2000, 20, 84
TYPES = ("cup-300", "cup-350", "cup-450", "lid-90")
# Issues of each site and cup type: a level of its own, twice as many at weekends, and chance.
HISTORY = f"""
    INSERT INTO cup_day (scheme, business_date, site, cup_type, issued, returned, supplied, retired, weighed, weighed_g,
                         deposits_issued, deposits_refunded, deposits_forfeited, deposits_reinstated,
                         deposits_remeasured, deposits_reversed, deposits_opened, deposits_abroad)
    SELECT 1, current_date - n.day, s.id, c.id, (10 + (s.id * 7 + c.id * 13) % 30)
           * CASE WHEN extract(isodow FROM current_date - n.day) > 5 THEN 2 ELSE 1 END + (random() * 12)::integer,
           0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0
      FROM generate_series(2, {DAYS}) AS n(day) CROSS JOIN site s CROSS JOIN cup_type c
     WHERE s.kind = 'cafe'
"""


def site(number, random):
    """Within half a degree of a point on an open sea; some of the sites are hubs."""
    return {
        "kind": "hub" if number < HUBS else "cafe",
        "latitude": 47 + random.random() / 2,
        "longitude": -50 - random.random() / 2,
    }


def measure(stack, random, calls, note):
    """(the times of a plan in seconds, its gap in percent)"""
    database = Database()
    stack.callback(database.drop)
    service = new_service(database, key_rate=0)
    stack.callback(service.stop)
    service.contract = None  # the tests compare answers with it; here that would cost more than the answers
    today = network.business_day()
    kinds = [{"cup_type": code, "name": code, "volume_ml": 300, "mass_g": 40} for code in TYPES]
    scheme = network.scheme("bay", today - timedelta(days=DAYS + 1), {code: "2.00" for code in TYPES})
    sites = {f"site-{n:05}": ("bay", f"owner-{n // 10}", site(n, random)) for n in range(SITES)}
    service.admin.load(network.reference([scheme], sites, kinds))
    supplied = [
        network.event(
            "supply",
            code,
            network.at(today - timedelta(days=1)),
            cups=[{"cup_type": t, "quantity": 20_000 if n < HUBS else random.randrange(1, 120)} for t in TYPES],
        )
        for n, code in enumerate(sites)
    ]
    for first in range(0, len(supplied), 1000):
        service.admin.post_many(supplied[first : first + 1000])
    database.run(HISTORY + "; ANALYZE cup_day")
    target = "/v1/plans?scheme=bay&box=25&cost_per_km=0.60&cost_per_stop=5.00"
    times = [timed(service.admin, target) / 1000 for _ in range(calls)]
    plan = service.admin.get(target)
    note(
        f"{SITES:,} sites, {len(TYPES)} cup types: {len(plan['shipments']):,} hauls in {min(times):.2f} s, at most"
        f" {max(times):.2f} s; cost {plan['cost']}, bound {plan['bound']}"
    )
    return times, [100 * float(plan["gap"])]
