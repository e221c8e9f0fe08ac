-- Keeps the sightings of the cups that entries of scheme $1 name, after entry $2 through $3. A name in the text of
-- an event begins with a quote that is not escaped, so no reference or reason is taken for a list of cups.
WITH slice AS MATERIALIZED (
    SELECT e.scheme, e.entry, e.business_date, e.occurred_at, e.kind, e.site, e.event::jsonb AS event
      FROM entry e
     WHERE e.scheme = $1::integer AND e.entry > $2::bigint AND e.entry <= $3::bigint AND e.event LIKE '%"ids":[%'),
stated AS (
    SELECT s.*, l.line, list.name AS list, list.rank, l.place, NULL::uuid AS shipment
      FROM slice s
     CROSS JOIN (VALUES ('returned', 1), ('issued', 2), ('cups', 3), ('places', 4)) AS list(name, rank)
     CROSS JOIN LATERAL jsonb_array_elements(s.event -> list.name) WITH ORDINALITY AS l(line, place)
    UNION ALL
    SELECT s.*, l.line, 'shipments', 5, 1000 * h.place + l.place, (h.stated ->> 'dispatch')::uuid
      FROM slice s
     CROSS JOIN LATERAL jsonb_array_elements(s.event -> 'shipments') WITH ORDINALITY AS h(stated, place)
     CROSS JOIN LATERAL jsonb_array_elements(h.stated -> 'cups') WITH ORDINALITY AS l(line, place)),
-- A line may have a thousand names. It is taken apart before they are, because each of their rows would carry it.
line AS MATERIALIZED (
    SELECT scheme, entry, business_date, occurred_at, kind, site, list, rank, place, shipment, line ->> 'cup_type' AS cup_type_code,
           line ->> 'place' AS opened, line ->> 'site' AS place_code, line ->> 'condition' IS NOT NULL AS damaged,
           line ->> 'home' AS home_code, line -> 'ids' AS ids
      FROM stated),
named AS MATERIALIZED (
    SELECT l.scheme, l.entry, l.business_date, l.occurred_at, l.kind, l.site, l.list, l.shipment, l.cup_type_code, l.opened,
           l.place_code, l.damaged, l.home_code, i.id,
           row_number() OVER (PARTITION BY l.entry ORDER BY l.rank, l.place, i.place) AS position
      FROM line l CROSS JOIN LATERAL jsonb_array_elements_text(l.ids) WITH ORDINALITY AS i(id, place)),
-- Each list moves its cups between two kinds of account.
rule (kind, list, damaged, opened, from_kind, to_kind) AS (VALUES
    (:kind_supply, 'cups', false, NULL, :account_supply, :account_site_stock),
    (:kind_issue, 'issued', false, NULL, :account_site_stock, :account_with_customers),
    (:kind_exchange, 'issued', false, NULL, :account_site_stock, :account_with_customers),
    (:kind_return, 'returned', false, NULL, :account_with_customers, :account_site_stock),
    (:kind_return, 'returned', true, NULL, :account_with_customers, :account_damaged),
    (:kind_exchange, 'returned', false, NULL, :account_with_customers, :account_site_stock),
    (:kind_exchange, 'returned', true, NULL, :account_with_customers, :account_damaged),
    (:kind_dispatch, 'cups', false, NULL, :account_site_stock, :account_in_transit),
    (:kind_dispatch, 'cups', true, NULL, :account_damaged, :account_in_transit),
    (:kind_receipt, 'cups', false, NULL, :account_in_transit, :account_site_stock),
    (:kind_receipt, 'cups', true, NULL, :account_in_transit, :account_damaged),
    (:kind_transit_loss, 'cups', false, NULL, :account_in_transit, :account_unaccounted),
    (:kind_transit_loss, 'cups', true, NULL, :account_in_transit, :account_unaccounted),
    (:kind_damage, 'cups', false, NULL, :account_site_stock, :account_damaged),
    (:kind_retire, 'cups', false, NULL, :account_damaged, :account_retired),
    (:kind_count, 'cups', false, NULL, :account_site_stock, :account_site_stock),
    (:kind_forfeit, 'cups', false, NULL, :account_with_customers, :account_unaccounted),
    (:kind_reinstate, 'cups', false, NULL, :account_unaccounted, :account_with_customers),
    (:kind_opening, 'places', false, NULL, :account_supply, :account_site_stock),
    (:kind_opening, 'places', true, NULL, :account_supply, :account_damaged),
    (:kind_opening, 'places', false, 'with_customers', :account_supply, :account_with_customers),
    (:kind_opening, 'places', false, 'retired', :account_supply, :account_retired),
    (:kind_opening, 'places', false, 'unaccounted', :account_supply, :account_unaccounted),
    (:kind_opening, 'shipments', false, NULL, :account_supply, :account_in_transit),
    (:kind_opening, 'shipments', true, NULL, :account_supply, :account_in_transit)),
-- Each name is looked up by itself, in an index. A join would read all cups that there are.
found AS MATERIALIZED (
    SELECT d.id, (SELECT c.cup FROM cup c WHERE c.id = d.id) AS cup FROM (SELECT DISTINCT id FROM named) AS d),
new AS (
    INSERT INTO cup (id) SELECT id FROM found WHERE cup IS NULL ORDER BY id RETURNING cup, id),
numbered AS MATERIALIZED (
    SELECT n.*, k.cup
      FROM named n JOIN (SELECT id, cup FROM found WHERE cup IS NOT NULL UNION ALL SELECT id, cup FROM new) AS k USING (id)),
placed AS (
    SELECT n.*, t.id AS cup_type, r.from_kind, r.to_kind,
           CASE WHEN n.list = 'places' THEN (SELECT s.id FROM site s WHERE s.code = n.place_code) ELSE n.site END AS at,
           CASE WHEN n.list = 'shipments' THEN (SELECT h.number FROM shipment h WHERE h.scheme = n.scheme AND h.event_id = n.shipment)
                WHEN n.kind IN (:kinds_sent) THEN n.entry
                WHEN n.kind IN (:kinds_received, :kinds_lost)
                THEN coalesce((SELECT f.referred FROM entry_reference f WHERE f.scheme = n.scheme AND f.entry = n.entry), a.dispatch)
           END AS dispatch, a.host
      FROM numbered n
      LEFT JOIN host_dispatch a ON a.scheme = n.scheme AND a.entry = n.entry
      JOIN cup_type t ON t.code = n.cup_type_code
      JOIN rule r ON r.kind = n.kind AND r.list = n.list AND r.damaged = n.damaged
                 AND r.opened IS NOT DISTINCT FROM n.opened)
INSERT INTO sighting (scheme, entry, position, cup, business_date, occurred_at, kind, site, came_from, went_to, dispatch, brought,
                      home, host)
SELECT scheme, entry, position, cup, business_date, occurred_at, kind, at,
       account_of(from_kind, CASE WHEN from_kind IN (:accounts_stock) THEN at ELSE 0 END, cup_type),
       account_of(to_kind, CASE WHEN to_kind IN (:accounts_stock) THEN at ELSE 0 END, cup_type), dispatch, false,
       (SELECT h.id FROM scheme h WHERE h.code = home_code), host
  FROM placed
