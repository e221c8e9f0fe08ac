-- Takes the head rows of the schemes $1, in order, and holds them to the commit; fails unless their last entries are
-- still $2, their calendars' versions $3, and the version of reference data and keys $4.
SELECT take_heads($1::integer[], $2::bigint[], $3::bigint[], $4::bigint)
