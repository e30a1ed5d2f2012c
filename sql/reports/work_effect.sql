-- What work changed: the shift in like-new level before to after, by kind of work. The largest drop first.
SELECT
    work_kind,
    n_pairs,
    shift_inwc,
    shift_lo,
    shift_hi,
    share_within_rating_before,
    share_within_rating_after,
    n_works,
    cost_per_tenth_inwc
FROM work_effect
ORDER BY shift_inwc NULLS LAST, work_kind
LIMIT 30;
