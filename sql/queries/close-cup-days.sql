-- Keeps what day $2 of scheme $1 did with cups and the deposits on them, for the reports: nobody adds to it any more.
INSERT INTO cup_day SELECT $1::integer, $2::date, c.* FROM cup_day_of($1::integer, $2::date) AS c
