-- Does a branch's typical static creep up from quarter to quarter? Theil-Sen slope and Mann-Kendall p of its medians.
WITH quarter AS (
    SELECT
        t.branch,
        v.mode,
        date_trunc('quarter', v.visited_on) AS quarter_on,
        median(v.tesp_inwc - v.rated_tesp_inwc) AS over_rating_inwc
    FROM visit_static AS v
    INNER JOIN site AS t USING (site_id)
    CROSS JOIN publication AS p
    WHERE v.like_new AND v.visited_on <= p.today
    GROUP BY t.branch, v.mode, quarter_on
),

series AS (
    SELECT
        branch,
        mode,
        count(*) AS n_quarters,
        list(date_diff('day', DATE '2000-01-01', quarter_on) / 365.25 ORDER BY quarter_on) AS years,
        list(over_rating_inwc ORDER BY quarter_on) AS medians
    FROM quarter
    GROUP BY branch, mode
)

SELECT
    branch,
    mode,
    n_quarters,
    theil_sen_slope(years, medians) AS slope_inwc_per_year,
    mann_kendall_p(years, medians) AS p_value
FROM series
ORDER BY branch, mode;
