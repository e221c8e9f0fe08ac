-- Keeps a statement of scheme $1 from document $2: account $3, the bank's id $4, digest $5; balances: $6 codes, $7
-- amounts, $8 days; $9 first and $10 last day, the bank's count $11, opening $12 and closing $13 (null: not stated),
-- sums of its booked lines $14, and of those that an earlier statement had $15. Gives its number, and that of the
-- scheme's last line.
INSERT INTO bank_statement (scheme, statement, document, account, statement_id, digest, balances, first_day, last_day, sequence,
                            opening, closing, booked, repeated)
SELECT $1::integer, (SELECT coalesce(max(statement), 0) + 1 FROM bank_statement WHERE scheme = $1::integer),
       $2::bigint, $3::text, $4::text, $5::bytea,
       (SELECT coalesce(jsonb_agg(jsonb_build_object('type', b.code, 'amount', amount_text(b.amount, s.decimals), 'date', b.on_day)
                                  ORDER BY b.position), '[]')
          FROM scheme s, unnest($6::text[], $7::bigint[], $8::date[]) WITH ORDINALITY AS b(code, amount, on_day, position)
         WHERE s.id = $1::integer),
       $9::date, $10::date, $11::bigint, $12::bigint, $13::bigint, $14::bigint, $15::bigint
RETURNING statement, (SELECT coalesce(max(line), 0) FROM bank_line WHERE scheme = $1::integer)
