-- The uncertainty budget of every visit in rows: source and standard uncertainty of TESP from it, in. w.c. A view of
-- columns of visit_static, in the publication too: eleven rows a visit are more than all the rest together.
CREATE OR REPLACE VIEW visit_uncertainty AS
SELECT
    visit_id,
    unnest([
        { 'source': 'accuracy of the return port', 'u_inwc': u_return_accuracy_inwc },
        { 'source': 'accuracy of the supply port', 'u_inwc': u_supply_accuracy_inwc },
        { 'source': 'gain shared by both ports', 'u_inwc': u_shared_gain_inwc },
        { 'source': 'resolution, both ports', 'u_inwc': u_resolution_inwc },
        { 'source': 'zero of the return port', 'u_inwc': u_return_zero_inwc },
        { 'source': 'zero of the supply port', 'u_inwc': u_supply_zero_inwc },
        { 'source': 'place of the return probe', 'u_inwc': u_return_location_inwc },
        { 'source': 'place of the supply probe', 'u_inwc': u_supply_location_inwc },
        { 'source': 'kind of probe, both ports', 'u_inwc': u_probe_inwc },
        { 'source': 'filter drop used to mend the port', 'u_inwc': u_filter_drop_inwc },
        { 'source': 'coil drop used to mend the port', 'u_inwc': u_coil_drop_inwc }
    ], recursive := TRUE)
FROM visit_static;
