-- The movements of a batch of scheme $1 after entry $14 through $2: accounts $3 in days $4 by $5; and the
-- activity of sites $6 in days $7.
INSERT INTO recent_movement (scheme, after_entry, last_entry, accounts, days, amounts, sites, site_days, issued, returned, collected,
                             refunded, stock, other)
VALUES ($1::integer, $14::bigint, $2::bigint, $3::bigint[], $4::date[], $5::bigint[], $6::integer[], $7::date[], $8::bigint[],
        $9::bigint[], $10::bigint[], $11::bigint[], $12::bigint[], $13::bigint[])
