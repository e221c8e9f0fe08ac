-- A row for each of the schemes $1, with the movements of its entries after $2 through $3: accounts $8 in days $9 by
-- $10, of which a scheme's are first ($4) to last ($5); and the activity of sites $11 in days $12, first ($6) to last
-- ($7).
INSERT INTO recent_movement (scheme, after_entry, last_entry, accounts, days, amounts, sites, site_days, issued, returned,
                             collected, refunded, stock, other)
SELECT s.scheme, s.after_entry, s.last_entry,
       ($8::bigint[])[s.first:s.last], ($9::date[])[s.first:s.last], ($10::bigint[])[s.first:s.last],
       ($11::integer[])[s.first_site:s.last_site], ($12::date[])[s.first_site:s.last_site],
       ($13::bigint[])[s.first_site:s.last_site], ($14::bigint[])[s.first_site:s.last_site],
       ($15::bigint[])[s.first_site:s.last_site], ($16::bigint[])[s.first_site:s.last_site],
       ($17::bigint[])[s.first_site:s.last_site], ($18::bigint[])[s.first_site:s.last_site]
  FROM unnest($1::integer[], $2::bigint[], $3::bigint[], $4::integer[], $5::integer[], $6::integer[], $7::integer[])
       AS s(scheme, after_entry, last_entry, first, last, first_site, last_site)
