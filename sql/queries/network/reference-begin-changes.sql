-- Records for all changes of this transaction their author, their time, the reason, and the proposal. $1: the
-- key, 0: the command line; $2: now; $3: the reason; $4: the proposal, 0: none.
SELECT begin_changes($1::integer, $2::timestamptz, $3::text, nullif($4::bigint, 0))
