-- As before, but a head that somebody else holds is not waited for (55P03): the writer posts for other schemes meanwhile. The
-- second look is a statement of its own: it sees what was committed before the first.
CREATE OR REPLACE FUNCTION take_heads(schemes integer[], last_entries bigint[], calendar_versions bigint[], version bigint) RETURNS void
    LANGUAGE plpgsql AS $$
BEGIN
    PERFORM FROM scheme_head WHERE scheme = ANY (schemes) ORDER BY scheme FOR UPDATE NOWAIT;
    IF (SELECT reference_version FROM network_head) <> version
       OR (SELECT count(*) FROM unnest(schemes, last_entries, calendar_versions) AS e(scheme, last_entry, calendar_version)
             JOIN scheme_head USING (scheme, last_entry, calendar_version)) <> cardinality(schemes) THEN
        RAISE EXCEPTION 'a head has moved' USING ERRCODE = 'serialization_failure';
    END IF;
END $$;
