# SPDX-License-Identifier: ISC
"""Fills a network of many participants and events by SQL as the tables' owner, because posting it would take too long.
One scheme is large, all others are small. The rows are plausible enough for every read, but the ledger would not pass
the checks."""
from dataclasses import dataclass
from datetime import date, datetime, timezone


@dataclass
class Crowd:
    schemes: int = 30
    sites: int = 600  # in the large scheme:
    large_sites: int = 300
    participants: int = 200
    days: int = 40  # closed days of the large scheme; today is open
    small_days: int = 10  # of each other scheme
    entries: int = 20_000  # events of the large scheme, in its last `event_days`; each other scheme has 20
    event_days: int = 10
    exceptions: int = 4000  # in the large scheme; one in ten is open
    lines: int = 100  # of each bank statement, one statement a day
    journals: int = 2000  # all but twenty of them approved
    today: date = None  # None: UTC's

    def fill(self, database):
        """Returns the seconds that each part took."""
        import time

        values = {name: getattr(self, name) for name in self.__dataclass_fields__}
        # Once for all parts, because midnight may come between two of them.
        values["today"] = f"date '{self.today or datetime.now(timezone.utc).date()}'"
        took = {}
        for title, statements in PARTS.items():
            started = time.monotonic()
            database.run("SET session_replication_role = replica; SET jit = off;" + statements.format(**values))
            took[title] = time.monotonic() - started
        return took


REFERENCE = """
INSERT INTO cup_type (id, code, name, volume_ml, mass_g)
SELECT n, 'cup-' || (n * 150 + 150), 'Cup ' || n, n * 150 + 150, 20 + n * 14 FROM generate_series(1, 2) AS n;
INSERT INTO participant (id, code, name, bank_account, bic, tax_registered)
SELECT n, format('member-%s', lpad(n::text, 5, '0')), 'Member ' || n,
       jsonb_build_object('account', lpad(n::text, 8, '0'), 'bank_code', '0001'), NULL, true
           FROM generate_series(1, {participants}) AS n;
INSERT INTO scheme (id, code, currency, decimals, time_zone, cut_off, close_after_minutes, stock_terms,
    return_target_ppm, dual_control,
                    count_tolerance, carry_days, operator, holidays)
SELECT n, format('bay-%s', lpad(n::text, 4, '0')), 'CAD', 2, 'UTC', '00:00', 60, 'on_loan', 900000, true, 0, 30,
       jsonb_build_object('name', 'Pool ' || n, 'bank_account', jsonb_build_object('account', '00001000', 'bank_code',
           '0001')), '{{}}'
  FROM generate_series(1, {schemes}) AS n;
INSERT INTO terms (scheme, effective_date, netting, minimum_payment, service_fee, handling_fee, tax_rate_ppm,
    shortage_terms, variance_terms)
SELECT id, {today} - {days}, 'central', 0, 10, 4, 150000, 'absorb', 'absorb' FROM scheme;
INSERT INTO refund_value (scheme, cup_type, effective_date, amount)
SELECT s.id, c.id, {today} - {days}, 150 + 100 * c.id FROM scheme s, cup_type c;
INSERT INTO site (id, code, scheme, participant, name, kind, opened_on)
SELECT n, format('site-%s', lpad(n::text, 5, '0')), CASE WHEN n <= {large_sites} THEN 1
    ELSE 2 + n % ({schemes} - 1) END,
       1 + n % {participants}, 'Site ' || n, 'cafe', {today} - {days} FROM generate_series(1, {sites}) AS n;
INSERT INTO api_key (id, name, holder, role, secret_hash, participant)
SELECT 1000 + id, 'till-' || code, 'Till ' || id, 'pos', sha256(convert_to('till ' || id, 'UTF8')), NULL FROM site
UNION ALL
SELECT 1000 + {sites} + id, code, name, 'participant', sha256(convert_to('member ' || id, 'UTF8')), id FROM participant;
INSERT INTO browser_session (hash, api_key, key_hash, begun_at, seen_at)
    SELECT sha256(format('cookie %s', n)::bytea), 1001 + n % 2, sha256('secret'), now(), now()
      FROM generate_series(1, 4000) AS n;
INSERT INTO api_key_site (api_key, site) SELECT 1000 + id, id FROM site;
INSERT INTO reference_change (number, changed_at, way, api_key, scheme, of_what, name, subject, before, after, digest)
SELECT n, now() - (5000 - n) * interval '1 hour', 'service', CASE WHEN n % 100 = 7 THEN 1003 ELSE 1 END,
    CASE WHEN n % 2 = 0 THEN 1 END, CASE WHEN n % 200 = 0 THEN 'terms' ELSE 'site' END, 'site-00001', 1,
    '{{"name":"A"}}', '{{"name":"B"}}', sha256('d')
  FROM generate_series((SELECT coalesce(max(number), 0) + 1 FROM reference_change), 5000) AS n;
INSERT INTO proposal (number, what, name, schemes, body, changes, others, proposed_at, proposed_by)
SELECT n, 'scheme', 'bay-0001', '{{1}}', '{{}}', '[]', 0, now(), 1 FROM generate_series(1, 1000) AS n;
INSERT INTO proposal_decision (proposal, decision, decided_at, decided_by) SELECT n, 'approved', now(), 1001
    FROM generate_series(1, 980) AS n;
INSERT INTO proposal_listed
SELECT s, CASE WHEN n <= 980 THEN 'approved' ELSE 'open' END, n
  FROM generate_series(1, 1000) AS n, generate_series(0, 1) AS s;
UPDATE network_head SET reference_version = reference_version + 1;
"""

# The first day of a scheme, and its days. Each closed day except the last two is paid.
DAYS = """
CREATE TABLE crowd_day AS
SELECT s.id AS scheme, {today} - back AS business_date, back, (back > 0) AS closed
  FROM scheme s, generate_series(0, {days}) AS back WHERE s.id = 1 OR back <= {small_days};
INSERT INTO business_day (scheme, business_date, starts_at, ends_at, state)
SELECT scheme, business_date, business_date::timestamp AT TIME ZONE 'UTC',
    (business_date + 1)::timestamp AT TIME ZONE 'UTC',
       CASE WHEN closed THEN 'closed' ELSE 'open' END FROM crowd_day;
INSERT INTO settlement (scheme, business_date, closed_at, entries, root, previous, seal)
SELECT scheme, business_date, (business_date + 1)::timestamp AT TIME ZONE 'UTC' + interval '1 hour', 0, sha256('r'),
    sha256('p'), sha256('s')
  FROM crowd_day WHERE closed;
INSERT INTO particulars (scheme, business_date, previous, parts, digest)
SELECT scheme, business_date, sha256('p'), sha256('a'), sha256('d') FROM settlement;
INSERT INTO site_day (scheme, business_date, site, issued, returned, collected, refunded, fees, tax)
SELECT d.scheme, d.business_date, s.id, 10, 8, 2500, 2000, 68, 10 FROM crowd_day d JOIN site s ON s.scheme = d.scheme;
INSERT INTO cup_day SELECT d.scheme, d.business_date, s.id, c, 10, 8, 0, 0, 0, 0, 2500, 2000, 0, 0, 0, 0, 0, 0
  FROM crowd_day d JOIN site s ON s.scheme = d.scheme, generate_series(1, 2) AS c WHERE d.closed;
"""

# Each account moves by the same amount on each day, so its closing balance is that amount times the days so far. Every
# fifth participant has arrears.
BALANCES = """
INSERT INTO balance (scheme, account, business_date, movement, closing)
SELECT d.scheme, a.account, d.business_date, a.movement,
       CASE WHEN d.closed THEN a.movement * (CASE d.scheme WHEN 1 THEN {days} ELSE {small_days} END - d.back + 1) END
  FROM crowd_day d
  JOIN (SELECT scheme, account_of(4, id, 0) AS account, 500 AS movement FROM site
        UNION ALL SELECT scheme, account_of(33, id, c), -2 FROM site, generate_series(1, 2) AS c
        UNION ALL SELECT DISTINCT scheme, account_of(5, participant, 0), 100 FROM site
        UNION ALL SELECT DISTINCT scheme, account_of(6, participant, 0), CASE participant % 10 WHEN 0 THEN 7 ELSE -3 END
                    FROM site WHERE participant % 5 = 0
        UNION ALL SELECT s.id, account_of(k, 0, c), CASE k WHEN 1 THEN -150 - 100 * c WHEN 36 THEN 1 ELSE 0 END
                    FROM scheme s, unnest(ARRAY[1, 32, 35, 36, 37, 38]) AS k, generate_series(1, 2) AS c
        UNION ALL SELECT s.id, account_of(k, 0, 0), 1 FROM scheme s, generate_series(7, 14) AS k) AS a USING (scheme);
"""

EVENTS = """
CREATE TABLE crowd_event AS
SELECT s.id AS scheme, n AS entry, CASE WHEN n % 3 = 0 THEN 2 WHEN n % 500 = 1 THEN 10 WHEN n % 500 = 2 THEN 5
    ELSE 1 END AS kind,
       {today} - (CASE s.id WHEN 1 THEN {event_days} ELSE {small_days} END
                  - 1 - ((n - 1) * CASE s.id WHEN 1 THEN {event_days}
                      ELSE {small_days} END / count)::integer) AS business_date,
       CASE s.id WHEN 1 THEN 1 + n % {large_sites} ELSE first END AS site,
       gen_random_uuid() AS event_id
  FROM (SELECT s.id, CASE s.id WHEN 1 THEN {entries} ELSE 20 END AS count, min(t.id) AS first
          FROM scheme s JOIN site t ON t.scheme = s.id GROUP BY s.id) AS s, generate_series(1, count) AS n;
INSERT INTO entry (scheme, entry, business_date, kind, late, site, api_key, occurred_at, recorded_at, hash, event,
    accounts, amounts)
SELECT e.scheme, e.entry, e.business_date, e.kind, e.entry % 50 = 0, e.site, 1,
       e.business_date::timestamp AT TIME ZONE 'UTC' + interval '9 hours',
           e.business_date::timestamp AT TIME ZONE 'UTC' + interval '9 hours', sha256('leaf'),
       json_build_object('event_id', e.event_id, 'kind', k.word, 'site', t.code, 'occurred_at',
           e.business_date || 'T09:00:00Z',
           CASE e.kind WHEN 2 THEN 'returned' WHEN 1 THEN 'issued' ELSE 'cups' END,
               '[{{"cup_type":"cup-300","quantity":1}}]'::json,
           'amount', '2.50', 'reference', 'till ' || e.entry)::text,
       CASE e.kind WHEN 10 THEN '{{}}' WHEN 5 THEN ARRAY[account_of(33, e.site, 1), account_of(35, 0, 1)]
            ELSE ARRAY[account_of(4, e.site, 0), account_of(1, 0, 1), account_of(33, e.site, 1),
                account_of(36, 0, 1)] END,
       CASE e.kind WHEN 10 THEN '{{}}' WHEN 5 THEN '{{-1,1}}' WHEN 2 THEN '{{-250,250,1,-1}}'
           ELSE '{{250,-250,-1,1}}' END::bigint[]
  FROM crowd_event e JOIN entry_kind k USING (kind) JOIN site t ON t.id = e.site ORDER BY e.scheme, e.entry;
INSERT INTO event_id SELECT scheme, event_id, decode('00', 'hex'), entry FROM crowd_event;
INSERT INTO scheme_head (scheme, reference_version, last_entry)
SELECT s.id, 1, coalesce(max(e.entry), 0) FROM scheme s LEFT JOIN crowd_event e ON e.scheme = s.id GROUP BY s.id;
UPDATE business_day d SET entries = n, events = n, first_entry = first, last_entry = last
  FROM (SELECT scheme, business_date, count(*) AS n, min(entry) AS first, max(entry) AS last FROM crowd_event
      GROUP BY 1, 2) e
 WHERE (e.scheme, e.business_date) = (d.scheme, d.business_date);
INSERT INTO following_place (home, host, entry) SELECT 1, scheme, last_entry FROM scheme_head WHERE scheme = 2;
INSERT INTO day_cut (scheme, business_date, after_entry, recorded_at)
SELECT scheme, business_date, coalesce(max(last_entry) OVER (PARTITION BY scheme ORDER BY business_date), 0), ends_at
  FROM business_day WHERE state <> 'open';
INSERT INTO transfer (scheme, dispatch, cup_type, damaged, business_date, sender, receiver, sent, received)
SELECT scheme, entry, 1, false, business_date, site, site + 1, 1, (entry % 5000 <> 2)::integer FROM crowd_event
    WHERE kind = 5;
INSERT INTO exception (scheme, entry, position, business_date, kind, site, cup_type, quantity, amount)
SELECT e.scheme, e.entry, 1, e.business_date, CASE e.kind WHEN 1 THEN 'count_off' ELSE 'off_tariff' END, e.site, 1, 1,
       50 FROM crowd_event e
 WHERE (e.scheme = 1 AND e.entry % greatest({entries} / {exceptions}, 1) = 0) OR (e.scheme > 1 AND e.entry <= 2);
INSERT INTO exception_resolution (scheme, entry, position, resolved_at, resolved_by, note)
SELECT scheme, entry, 1, now(), 1, 'looked at' FROM exception
    WHERE (entry / greatest({entries} / {exceptions}, 1)) % 10 <> 0;
INSERT INTO day_total (scheme, site, business_date, position, stated_at, api_key, issued, returned, collected, refunded)
SELECT 1, t.id, d.business_date, 1, now(), 1, 10, 8, 2500, 2000 FROM crowd_day d, site t
 WHERE d.scheme = 1 AND d.back < {event_days} AND t.scheme = 1;
"""

MONEY = """
INSERT INTO position (scheme, business_date, participant, amount, arrears, carried)
SELECT DISTINCT d.scheme, d.business_date, s.participant, 500, 0, false
  FROM crowd_day d JOIN site s ON s.scheme = d.scheme
    WHERE d.closed;
INSERT INTO fee_note (scheme, number, business_date, participant, operator_name, name, tax_registered)
SELECT 1, row_number() OVER (ORDER BY business_date, participant), business_date, participant, 'Pool 1', 'Member', true
  FROM position WHERE scheme = 1;
INSERT INTO fee_note_line (scheme, number, position, business_date, fee, tax_rate_ppm, amount, tax)
SELECT scheme, number, position, business_date, (ARRAY['service', 'handling'])[position], 150000, 100, 15
  FROM fee_note, generate_series(1, 2) AS position;
INSERT INTO remaking_batch (scheme, number, code, site, sent_on, remaker, weight_g, recorded_at, recorded_by)
SELECT 1, n, 'batch-' || n, 1, closed.last, 'Moulding', 960, now(), 1
  FROM generate_series(1, 60) AS n,
       (SELECT max(business_date) AS last FROM crowd_day WHERE scheme = 1 AND closed) AS closed;
INSERT INTO remaking_batch_line (scheme, number, cup_type, quantity)
SELECT scheme, number, 1, 20 FROM remaking_batch;
INSERT INTO shipment_request (scheme, number, shipment, digest, sender, receiver, wanted_on, requested_at,
    requested_by)
SELECT s.scheme, row_number() OVER (PARTITION BY s.scheme ORDER BY d.business_date, s.id),
    md5(format('%s of %s', d.business_date, s.id))::uuid, '', s.id, n.id, d.business_date, d.business_date, 1
  FROM crowd_day d JOIN site s ON s.scheme = d.scheme
  JOIN LATERAL (SELECT id FROM site o WHERE o.scheme = s.scheme AND o.id <> s.id ORDER BY o.id LIMIT 1) AS n ON true
    WHERE s.id % 5 = 2;
INSERT INTO shipment_line (scheme, number, cup_type, damaged, cups)
SELECT scheme, number, 1, false, 10 FROM shipment_request;
INSERT INTO shipment_withdrawal (scheme, number, withdrawn_at, withdrawn_by, why)
SELECT scheme, number, wanted_on, 1, 'done otherwise' FROM shipment_request WHERE number % 10 <> 0;
INSERT INTO shipment_listed SELECT scheme, site, list, number FROM shipment_place;
CREATE TABLE crowd_payment AS
SELECT scheme, format('%s-%s-%s', scheme, to_char(business_date, 'YYMMDD'), participant) AS payment_id, business_date,
    participant,
       CASE WHEN business_date >= {today} - 2 THEN 'computed' WHEN participant % 97 = 0 THEN 'failed'
           ELSE 'confirmed' END AS status FROM position;
INSERT INTO payment (scheme, payment_id, business_date, payer, payee, amount, due_on, status, bank_account)
SELECT scheme, payment_id, business_date, participant, NULL, 500, business_date + 1, status, NULL FROM crowd_payment;
INSERT INTO payment_change (scheme, payment_id, position, changed_at, api_key, change, entry)
SELECT scheme, payment_id, position, now(), 1, (ARRAY['approve', 'instruct', CASE status WHEN 'failed' THEN 'fail'
    ELSE 'confirm' END])[position],
       CASE position WHEN 3 THEN 1 END
  FROM crowd_payment, generate_series(1, 3) AS position WHERE status <> 'computed';
INSERT INTO agreement (home, host, effective_date, in_host_currency, rate_e12, cup_types, amounts, home_signed_by,
                       host_signed_by)
VALUES (1, 2, {today} - {days}, true, 1000000000000, '{{1}}', '{{230}}', 1, 1);
INSERT INTO agreed_amount (scheme, entry, home, host, amount, in_host_currency, rate_e12)
SELECT scheme, entry, 1, 2, 230, true, 1000000000000 FROM entry WHERE scheme IN (1, 2);
INSERT INTO between_day
SELECT d.scheme, 1, 2, d.business_date, 230, 0, 230, CASE WHEN d.closed THEN 230 END, CASE WHEN d.closed THEN 0 END,
       CASE WHEN d.closed THEN 230 END
  FROM crowd_day d WHERE d.scheme IN (1, 2);
INSERT INTO between_booked
SELECT 2, n, 1, format('pool-%s', n), {today} - {days} + n, 230, 230 FROM generate_series(1, {days} - 3) AS n;
INSERT INTO between_transit SELECT 1, format('pool-%s', n), 2, 230, 0 FROM generate_series({days} - 2, {days}) AS n;
INSERT INTO pool_payment (scheme, payment_id, business_date, host, amount, agreed, in_host_currency, host_booked,
                          due_on, status)
SELECT 1, format('pool-%s', n), {today} - {days} + n - 1, 2, 230, 230, true, 230, {today} - {days} + n,
       CASE WHEN n <= {days} - 3 THEN 'confirmed' ELSE 'computed' END
  FROM generate_series(1, {days}) AS n;
INSERT INTO payment_file (scheme, file_id, business_date, type, message_id, created_at, api_key, payments, total,
    content, sha256)
SELECT scheme, gen_random_uuid(), business_date, 'payouts', md5(scheme || business_date::text), now(), 1, 1, 500, 'x',
    sha256('x')
  FROM crowd_day WHERE closed;
INSERT INTO bank_document (scheme, document, received_at, api_key, content, sha256) OVERRIDING SYSTEM VALUE
SELECT 1, n, now(), 1, 'x', sha256('x') FROM generate_series(1, {days}) AS n;
INSERT INTO bank_statement (scheme, statement, document, account, statement_id, digest, balances, first_day, last_day,
    opening, closing, booked, repeated)
SELECT 1, n, n, '00001000', 'S' || n, sha256('d'),
       jsonb_build_array(jsonb_build_object('type', 'CLBD', 'amount', '5.00', 'date', day)), day, day,
       (n - 1) * {lines} * 500, n * {lines} * 500 + (n = 7)::int, {lines} * 500, 0
  FROM generate_series(1, {days}) AS n, LATERAL (SELECT {today} - {days} + n - 20 AS day) AS its;
INSERT INTO bank_line (scheme, line, statement, booked_on, amount, reference, returned, identity, disposition)
SELECT 1, n, 1 + (n - 1) / {lines}, {today}, 500, 'L' || n, false, sha256(convert_to(n::text, 'UTF8')),
       CASE WHEN n % 50 = 0 THEN 'unmatched' ELSE 'matched' END
  FROM generate_series(1, {days} * {lines}) AS n;
INSERT INTO bank_line_resolution (scheme, line, resolved_at, api_key, note, came_back, participant, account, entries)
SELECT 1, line, now(), 1, 'looked at', false, 1, 'arrears', '{{1}}' FROM bank_line WHERE disposition = 'unmatched'
    AND line % 1000 <> 0;
INSERT INTO proposed_event (scheme, event_id, digest, event, occurred_at, accounts, amounts, proposed_at, proposed_by,
    kind, status, decided_by, entry)
SELECT 1, gen_random_uuid(), decode('00', 'hex'), '{{"kind":"journal"}}', now(), '{{}}', '{{}}', now(), 1, 14,
       CASE WHEN n <= {journals} - 20 THEN 'approved' ELSE 'open' END, CASE WHEN n <= {journals} - 20 THEN 2 END,
       CASE WHEN n <= {journals} - 20 THEN n END FROM generate_series(1, {journals}) AS n;
"""

# Fills the tables that triggers keep, because the triggers were off.
KEPT = """
INSERT INTO kind_movement
SELECT scheme, business_date, account_kind_of(account), account_cup_type(account), sum(movement) FROM balance
    GROUP BY 1, 2, 3, 4;
INSERT INTO kind_balance SELECT scheme, kind, cup_type, sum(movement) FROM kind_movement GROUP BY 1, 2, 3;
INSERT INTO exception_open
SELECT scheme, entry, position FROM exception x
 WHERE NOT EXISTS (SELECT FROM exception_resolution z WHERE (z.scheme, z.entry, z.position) = (x.scheme, x.entry,
     x.position));
INSERT INTO count_off_open
SELECT scheme, entry, position, site, cup_type FROM exception_open JOIN exception USING (scheme, entry, position)
 WHERE kind = 'count_off';
INSERT INTO till_day
SELECT d.scheme, d.business_date, d.site, d.business_date, d.issued, d.returned, d.collected, d.refunded
  FROM site_day d JOIN particulars p USING (scheme, business_date);
INSERT INTO cup_flow
SELECT scheme, business_date, cup_type, 0, 0, sum(issued), sum(returned), 0, 0 FROM cup_day GROUP BY 1, 2, 3;
INSERT INTO return_rate_kept (scheme, through, first_day, last_day, issued, returned)
SELECT scheme, max(business_date), max(business_date) - 37, max(business_date) - 31, 140, 120 FROM particulars
    GROUP BY 1;
INSERT INTO bank_line_open SELECT scheme, line, statement FROM bank_line_shown WHERE open;
INSERT INTO payment_day SELECT scheme, business_date, participant, count(*), sum(amount) FROM payment_side GROUP BY 1,
    2, 3;
"""

PARTS = {
    "reference": REFERENCE,
    "days": DAYS,
    "balances": BALANCES,
    "events": EVENTS,
    "money": MONEY,
    "kept": KEPT,
    "end": "DROP TABLE crowd_day, crowd_event, crowd_payment; ANALYZE;",
}
