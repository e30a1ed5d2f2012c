-- Which kind of work brings units within their rating, and which changes nothing that can be seen?
SELECT
    work_kind,
    n_pairs,
    shift_inwc,
    shift_lo,
    shift_hi,
    CASE
        WHEN shift_hi < 0 THEN 'lowers the static'
        WHEN shift_lo > 0 THEN 'raises the static'
        WHEN shift_inwc IS NULL THEN 'too few pairs'
        ELSE 'no change to be seen'
    END AS verdict,
    share_within_rating_before,
    share_within_rating_after
FROM work_effect
ORDER BY shift_inwc NULLS LAST, work_kind;
