-- The process that serves this connection.
SELECT pg_backend_pid()
