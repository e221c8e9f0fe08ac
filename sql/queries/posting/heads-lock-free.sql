-- Takes those head rows of the schemes in $1 that nobody holds, in order, and holds them to the commit.
SELECT scheme, last_entry, reference_version, calendar_version, gross, unfolded, folded_through
  FROM scheme_head WHERE scheme = ANY ($1::integer[]) ORDER BY scheme FOR UPDATE SKIP LOCKED
