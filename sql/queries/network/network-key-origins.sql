-- Where all keys that there ever were come from: the key's id, the number of its holder, the key that made it, and when
-- it was renewed. A holder's name is the same in capitals and with other blanks.
SELECT id, dense_rank() OVER (ORDER BY lower(btrim(regexp_replace(holder, '\s+', ' ', 'g')))), made_by, instant_us(renewed_at)
  FROM api_key WHERE id > 0 ORDER BY id
