-- A slice of a scheme's seals, each as JSON, with its day's number. $1 scheme, beyond day $2 (days since 1970), at most
-- $3.
SELECT json_strip_nulls(json_build_object(
           'scheme', scheme.code, 'date', s.business_date, 'entries', s.entries, 'root', encode(s.root, 'hex'),
           'previous', encode(s.previous, 'hex'), 'seal', encode(s.seal, 'hex'), 'closed_at', instant_text(s.closed_at),
           'particulars', encode(p.digest, 'hex'),
           'settlement', format('/v1/settlements/%s/%s', scheme.code, s.business_date))),
       s.business_date - date '1970-01-01'
  FROM settlement s
  JOIN scheme ON scheme.id = s.scheme
  LEFT JOIN particulars p ON (p.scheme, p.business_date) = (s.scheme, s.business_date)
 WHERE s.scheme = $1::integer AND s.business_date :beyond date '1970-01-01' + least($2::bigint, 1000000)::integer
 ORDER BY s.business_date :onward LIMIT $3::integer
