-- How many units in one mode changed since the last publication that rested on other files, by kind of change.
SELECT
    change,
    count(*) AS n_units,
    count(DISTINCT site_id) AS n_sites,
    min(since) AS since
FROM site_change
GROUP BY change
ORDER BY
    list_position(
        ['new_chronic', 'worse', 'resolved', 'better', 'to_confirm', 'first_seen', 'gone', 'same'], change
    );
