-- Leaves a record in the write-ahead log that nothing reads: committing it takes what committing an entry takes.
SELECT pg_logical_emit_message(true, 'depositd', 'ready') IS NOT NULL AND current_setting('transaction_read_only') = 'off'
