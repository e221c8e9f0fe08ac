-- Ends session $2 of key $1 at $3, unless it has ended.
UPDATE browser_session SET ended_at = greatest($3::timestamptz, seen_at)
 WHERE api_key = $1::integer AND session = $2::bigint AND ended_at IS NULL
