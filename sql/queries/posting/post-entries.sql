-- Appends entries to the ledgers of the schemes $1, recorded at $2. The legs of all entries stand in one row of arrays,
-- $12 and $13; those of an entry are first ($10) to last ($11).
INSERT INTO entry (scheme, entry, business_date, kind, late, site, api_key, occurred_at, recorded_at, hash, event,
                   accounts, amounts)
SELECT e.scheme, e.entry, e.business_date, e.kind, e.late, nullif(e.site, 0), nullif(e.api_key, 0), e.occurred_at,
       $2::timestamptz, e.hash, e.event, ($12::bigint[])[e.first:e.last], ($13::bigint[])[e.first:e.last]
  FROM unnest($1::integer[], $3::bigint[], $4::date[], $5::integer[], $6::boolean[], $7::integer[], $8::integer[],
              $9::timestamptz[], $10::integer[], $11::integer[], $14::bytea[], $15::text[])
       AS e(scheme, entry, business_date, kind, late, site, api_key, occurred_at, first, last, hash, event)
