-- Takes the head rows of the schemes in $1, in order, and holds them to the commit: from here on nobody else appends.
SELECT scheme, last_entry, reference_version, calendar_version, gross, unfolded, folded_through
  FROM scheme_head WHERE scheme = ANY ($1::integer[]) ORDER BY scheme FOR UPDATE
