-- Locks every scheme's head, in one order for all: nobody posts until the change of reference data is through.
SELECT scheme FROM scheme_head ORDER BY scheme FOR UPDATE
