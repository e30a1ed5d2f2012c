-- The uncertainty budget of every visit in rows: source and standard uncertainty of TESP from it, in. w.c.
CREATE OR REPLACE VIEW visit_uncertainty AS
SELECT visit_id, source, u_inwc
FROM (
    SELECT
        visit_id,
        unnest([
            { 'source': 'accuracy of the return port', 'u_inwc': u_return_accuracy },
            { 'source': 'accuracy of the supply port', 'u_inwc': u_supply_accuracy },
            {
                'source': 'gain shared by both ports',
                'u_inwc': sqrt(2 * port_correlation * u_return_accuracy * u_supply_accuracy)
            },
            { 'source': 'resolution, both ports', 'u_inwc': sqrt(2) * u_resolution },
            { 'source': 'zero of the return port', 'u_inwc': u_return_zero },
            { 'source': 'zero of the supply port', 'u_inwc': u_supply_zero },
            { 'source': 'place of the return probe', 'u_inwc': u_return_location },
            { 'source': 'place of the supply probe', 'u_inwc': u_supply_location },
            { 'source': 'kind of probe, both ports', 'u_inwc': sqrt(2) * u_probe },
            { 'source': 'filter drop used to mend the port', 'u_inwc': u_return_port },
            { 'source': 'coil drop used to mend the port', 'u_inwc': u_supply_port }
        ], recursive := TRUE)
    FROM visit_uncertainty_part
);
