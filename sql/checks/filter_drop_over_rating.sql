-- title: Filter alone beyond the rating
-- consequence: note
-- why: A filter that takes more than the whole rated static by itself is badly loaded, or the figure is a slip: look at the filter before the ducts.
SELECT
    visit_id,
    'note' AS consequence,
    format('filter drop {:.3f}, the whole rating is {}', filter_drop_inwc, rated_tesp_inwc) AS detail
FROM noticed_reading
WHERE filter_over_rating;
