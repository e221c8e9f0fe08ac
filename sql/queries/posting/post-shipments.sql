-- Says which dispatches (entries $2) of the schemes $1 fulfil which shipments $3.
INSERT INTO shipment_dispatch (scheme, dispatch, shipment)
SELECT s.* FROM unnest($1::integer[], $2::bigint[], $3::uuid[]) AS s
