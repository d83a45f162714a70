-- The order in which the ends of attempts were written down, over all jobs.
-- A clock may be set back, and a job may go on after a later one began.
ALTER TABLE attempt ADD COLUMN end_order INTEGER;
UPDATE attempt SET end_order = ranked.place
FROM (
    SELECT job, card, attempt,
        row_number() OVER (ORDER BY ended, job, card, attempt) AS place
    FROM attempt WHERE ended IS NOT NULL
) AS ranked
WHERE ranked.job = attempt.job AND ranked.card = attempt.card
    AND ranked.attempt = attempt.attempt;
CREATE UNIQUE INDEX attempt_end_order ON attempt (end_order);
