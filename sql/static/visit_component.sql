-- What each part of the measured span takes, against its own allowance, for visits where a drop within the span was
-- measured. The parts of a visit add up to its TESP, their allowances to the rating. The filter's and the coil's
-- allowances are settings, at most their side's budget (equipment_facts.sql); the duct has what they leave. A side whose
-- drop was not measured stays in one piece.
CREATE OR REPLACE VIEW part_allowance AS
SELECT
    equipment_id,
    return_budget_inwc,
    supply_budget_inwc,
    right_return_port = 'after_filter' AS filter_in_span,
    right_supply_port = 'before_coil' AS coil_in_span,
    filter_allowance_inwc,
    coil_allowance_inwc
FROM staging.equipment_facts;

CREATE OR REPLACE VIEW visit_component AS
WITH span AS (
    SELECT
        v.visit_id,
        v.return_inwc,
        v.supply_inwc,
        a.return_budget_inwc,
        a.supply_budget_inwc,
        a.filter_in_span,
        a.coil_in_span,
        -- Its part is 0 where it lies outside the span, empty where it was not measured.
        CASE WHEN a.filter_in_span THEN v.filter_part_inwc END AS filter_inwc,
        CASE WHEN a.coil_in_span THEN v.coil_part_inwc END AS coil_inwc,
        a.filter_allowance_inwc,
        a.coil_allowance_inwc
    FROM visit_static AS v
    INNER JOIN part_allowance AS a USING (equipment_id)
    WHERE v.filter_drop_inwc IS NOT NULL OR v.coil_drop_inwc IS NOT NULL
),

part AS (
    SELECT
        visit_id,
        unnest([
            {
                'component': CASE WHEN filter_in_span AND filter_inwc IS NULL THEN 'return_side' ELSE 'return_duct' END,
                'drop_inwc': -return_inwc - coalesce(filter_inwc, 0),
                'allowance_inwc': return_budget_inwc
                - CASE WHEN filter_inwc IS NULL THEN 0 ELSE filter_allowance_inwc END
            },
            { 'component': 'filter', 'drop_inwc': filter_inwc, 'allowance_inwc': filter_allowance_inwc },
            { 'component': 'coil', 'drop_inwc': coil_inwc, 'allowance_inwc': coil_allowance_inwc },
            {
                'component': CASE WHEN coil_in_span AND coil_inwc IS NULL THEN 'supply_side' ELSE 'supply_duct' END,
                'drop_inwc': supply_inwc - coalesce(coil_inwc, 0),
                'allowance_inwc': supply_budget_inwc
                - CASE WHEN coil_inwc IS NULL THEN 0 ELSE coil_allowance_inwc END
            }
        ], recursive := TRUE)
    FROM span
    WHERE filter_inwc IS NOT NULL OR coil_inwc IS NOT NULL
)

SELECT visit_id, component, drop_inwc, allowance_inwc, drop_inwc - allowance_inwc AS excess_inwc
FROM part
WHERE drop_inwc IS NOT NULL;
