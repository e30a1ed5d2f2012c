-- title: Filter alone beyond the rating
-- consequence: note
-- why: A filter that takes more than the whole rated static by itself is badly loaded, or the figure is a slip: look at the filter before the ducts.
SELECT
    r.visit_id,
    'note' AS consequence,
    format('filter drop {:.3f}, the whole rating is {}', r.filter_drop_inwc, e.rated_tesp_inwc) AS detail
FROM reading AS r
INNER JOIN equipment AS e ON r.equipment_id = e.equipment_id
WHERE r.filter_over_rating;
