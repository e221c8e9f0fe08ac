-- Fee notes: what the fees of a month and their tax came to, for each participant. The close of the month's last day
-- issues them, and nothing changes them later: a later reversal is in a later note.

CREATE TABLE fee_note (
    scheme         integer NOT NULL,
    number         integer NOT NULL CHECK (number > 0), -- 1, 2 … of the scheme
    business_date  date NOT NULL,    -- the last one of the month
    participant    integer NOT NULL,
    operator_name  text,             -- legal names, and the participant's registration for tax, on that day
    name           text NOT NULL,
    tax_registered boolean NOT NULL,
    PRIMARY KEY (scheme, number)
);
CREATE INDEX ON fee_note (scheme, participant, number);
CREATE INDEX ON fee_note (scheme, business_date);

-- A line for each fee and rate of tax.
CREATE TABLE fee_note_line (
    scheme        integer NOT NULL,
    number        integer NOT NULL,
    position      integer NOT NULL, -- 1, 2 … of the note
    business_date date NOT NULL,    -- of the note
    fee           text NOT NULL CHECK (fee IN ('service', 'standing', 'handling')),
    tax_rate_ppm  integer,          -- null: of days that were closed before lines of fees were kept
    amount        numeric NOT NULL, -- minor units, without tax
    tax           numeric NOT NULL,
    PRIMARY KEY (scheme, number, position)
);
CREATE INDEX ON fee_note_line (scheme, business_date);

CREATE TRIGGER fee_note_guard AFTER INSERT ON fee_note
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION closing_day_guard();
CREATE TRIGGER fee_note_line_guard AFTER INSERT ON fee_note_line
    REFERENCING NEW TABLE AS inserted FOR EACH STATEMENT EXECUTE FUNCTION closing_day_guard();
GRANT SELECT, INSERT ON fee_note, fee_note_line TO depositd_service;

-- Days through this one were closed by a version that issued no notes.
CREATE TABLE older_fee_notes (
    scheme  integer PRIMARY KEY,
    through date NOT NULL
);
INSERT INTO older_fee_notes
SELECT scheme, max(business_date) FROM business_day WHERE state = 'closed' GROUP BY scheme;
GRANT SELECT ON older_fee_notes TO depositd_service;

-- What the notes of the month that ends on a day have to say. A close rounds the tax of a site's fee once, over all
-- rates; a rate's share is the rounded tax through this rate less that through the lower ones.
CREATE FUNCTION fee_note_lines(of_scheme integer, last date)
    RETURNS TABLE (participant integer, fee text, tax_rate_ppm integer, amount numeric, tax numeric)
    LANGUAGE sql STABLE ROWS 1000 AS $$
    WITH month AS (
        SELECT date_trunc('month', last)::date AS first,
               coalesce((SELECT o.through FROM older_fee_lines o WHERE o.scheme = of_scheme), '-infinity') AS older),
    kept AS (
        SELECT l.business_date, l.site, l.fee, l.tax_rate_ppm, sum(l.quantity::numeric * l.each) AS amount,
               sum(l.quantity::numeric * l.each * l.tax_rate_ppm) AS exact
          FROM month JOIN fee_line l ON l.scheme = of_scheme AND l.business_date BETWEEN month.first AND last
         GROUP BY 1, 2, 3, 4),
    part AS (
        SELECT k.site, k.fee, k.tax_rate_ppm, k.amount,
               round_half_even(sum(k.exact) OVER upto * 0.000001)
               - round_half_even((sum(k.exact) OVER upto - k.exact) * 0.000001) AS tax
          FROM kept k WINDOW upto AS (PARTITION BY k.business_date, k.site, k.fee ORDER BY k.tax_rate_ppm)
        UNION ALL
        SELECT f.site, what.fee, NULL, what.amount, what.tax
          FROM month CROSS JOIN LATERAL fee_days(of_scheme, month.first, least(last, month.older)) AS f
         CROSS JOIN LATERAL (VALUES ('service', f.service_fee, f.service_tax),
                                    ('handling', -f.handling_fee, -f.handling_tax)) AS what(fee, amount, tax)
         WHERE month.older >= month.first)
    SELECT s.participant, p.fee, p.tax_rate_ppm, sum(p.amount), sum(p.tax)
      FROM part p JOIN site s ON s.id = p.site
     GROUP BY s.participant, p.fee, p.tax_rate_ppm
    HAVING sum(p.amount) <> 0 OR sum(p.tax) <> 0
$$;

-- The lines of a note as JSON, in one direction.
CREATE FUNCTION fee_note_side(of_scheme integer, of_number integer, of_handling boolean, decimals integer) RETURNS json
    LANGUAGE sql STABLE
    RETURN (SELECT coalesce(json_agg(json_strip_nulls(json_build_object(
                        'fee', l.fee, 'tax_rate', rate_text(l.tax_rate_ppm), 'amount', amount_text(l.amount, decimals),
                        'tax', amount_text(l.tax, decimals), 'gross', amount_text(l.amount + l.tax, decimals))) ORDER BY l.position), '[]')
              FROM fee_note_line l
             WHERE l.scheme = of_scheme AND l.number = of_number AND (l.fee = 'handling') = of_handling);

-- What a note comes to. Charged by the operator, granted by the participant.
CREATE VIEW fee_note_sum AS
    SELECT scheme, number, coalesce(sum(amount) FILTER (WHERE fee <> 'handling'), 0) AS charged_amount,
           coalesce(sum(tax) FILTER (WHERE fee <> 'handling'), 0) AS charged_tax,
           coalesce(sum(amount) FILTER (WHERE fee = 'handling'), 0) AS granted_amount,
           coalesce(sum(tax) FILTER (WHERE fee = 'handling'), 0) AS granted_tax
      FROM fee_note_line GROUP BY scheme, number;
GRANT SELECT ON fee_note_sum TO depositd_service;
