-- Whether the database takes writes. If so, leaves a record in the write-ahead log that nothing reads: committing it
-- takes what committing an entry takes.
SELECT CASE WHEN pg_is_in_recovery() OR current_setting('transaction_read_only')::boolean THEN false
            ELSE pg_logical_emit_message(true, 'depositd', 'ready') IS NOT NULL END
