-- title: Filter alone beyond the rating
-- consequence: note
-- why: A filter that takes more than the whole rated static by itself is badly loaded, or the figure is a slip: look at the filter before the ducts.
WITH large AS MATERIALIZED (
    SELECT
        r.visit_id,
        v.equipment_id,
        r.filter_drop_inwc
    FROM repaired_reading AS r
    INNER JOIN visit AS v ON r.visit_id = v.visit_id
    -- Beyond the smallest rating of all: few rows are left for the question of their own rating.
    WHERE r.filter_drop_inwc > (SELECT min(rated_tesp_inwc) FROM equipment)
)

SELECT
    d.visit_id,
    'note' AS consequence,
    format('filter drop {:.3f}, the whole rating is {}', d.filter_drop_inwc, e.rated_tesp_inwc) AS detail
FROM large AS d
INNER JOIN equipment AS e ON d.equipment_id = e.equipment_id
WHERE exceeds(d.filter_drop_inwc, e.rated_tesp_inwc);
