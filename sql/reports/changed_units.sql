-- The units that changed, the most telling change first and the largest move of the level in it; top rows of each change.
SELECT
    c.change,
    c.site_id,
    site.site_label[:200] AS site_label,
    site.branch,
    c.equipment_id,
    c.mode,
    c.was_state,
    c.state,
    c.side,
    c.was_level_inwc,
    c.level_inwc,
    c.level_change_inwc
FROM site_change AS c
LEFT JOIN site ON c.site_id = site.site_id
WHERE c.change NOT IN ('same', 'first_seen')
QUALIFY
    row_number() OVER (
        PARTITION BY c.change ORDER BY abs(c.level_change_inwc) DESC NULLS LAST, c.equipment_id ASC, c.mode ASC
    ) <= getvariable('top')
ORDER BY
    list_position(['new_chronic', 'worse', 'resolved', 'better', 'to_confirm', 'gone'], c.change) ASC,
    abs(c.level_change_inwc) DESC NULLS LAST,
    c.equipment_id ASC,
    c.mode ASC;
