-- Of the published tables and columns those that the reports read, named as the catalog names them
-- (tests/catalog/test_catalog.py); a query that reads another one has it added here.
CREATE TABLE publication (today DATE, version VARCHAR, published_at TIMESTAMPTZ, settings VARCHAR, offsets_before DATE);
CREATE TABLE setting (name VARCHAR, value DOUBLE, unit VARCHAR, source VARCHAR);
CREATE TABLE load_ledger (file VARCHAR, file_sha256 VARCHAR, table_name VARCHAR, loaded_at TIMESTAMPTZ,
  rows_read BIGINT, rows_loaded BIGINT, rows_rejected BIGINT, rows_repeated BIGINT, rows_superseded BIGINT);
CREATE TABLE rejected_row (file VARCHAR, line_number BIGINT, table_name VARCHAR, raw_line VARCHAR, reason VARCHAR,
  detail VARCHAR, is_mended BOOLEAN);
CREATE TABLE check_catalog (check_id VARCHAR, title VARCHAR, consequence VARCHAR, why VARCHAR, applies_to VARCHAR,
  belongs_to VARCHAR);
CREATE TABLE finding (visit_id VARCHAR, check_id VARCHAR, consequence VARCHAR, detail VARCHAR);
CREATE TABLE site (site_id VARCHAR, branch VARCHAR, site_label VARCHAR, elevation_ft DOUBLE);
CREATE TABLE equipment (equipment_id VARCHAR, site_id VARCHAR, equipment_kind VARCHAR, installed_on DATE,
  retired_on DATE, rated_tesp_inwc DOUBLE, nominal_tons DOUBLE, motor_kind VARCHAR, design_cooling_cfm DOUBLE,
  design_heating_cfm DOUBLE, design_return_inwc DOUBLE, design_supply_inwc DOUBLE, filter_in_rating BOOLEAN,
  coil_in_rating BOOLEAN, blower_table_id VARCHAR, cooling_tap VARCHAR, heating_tap VARCHAR);
CREATE TABLE technician (technician_id VARCHAR, branch VARCHAR, trained_on DATE);
CREATE TABLE instrument (instrument_id VARCHAR, port_style VARCHAR, accuracy_pct_of_reading DOUBLE,
  accuracy_floor_inwc DOUBLE, resolution_inwc DOUBLE, calibrated_on DATE);
CREATE TABLE work (work_id VARCHAR, equipment_id VARCHAR, done_on DATE, work_kind VARCHAR, cost DOUBLE);
CREATE TABLE visit (visit_id VARCHAR, site_id VARCHAR, equipment_id VARCHAR, technician_id VARCHAR,
  instrument_id VARCHAR, visited_at TIMESTAMPTZ, visited_on DATE, mode VARCHAR, note VARCHAR);
CREATE TABLE visit_static (visit_id VARCHAR, site_id VARCHAR, equipment_id VARCHAR, technician_id VARCHAR,
  instrument_id VARCHAR, visited_at TIMESTAMPTZ, mode VARCHAR, return_inwc DOUBLE, supply_inwc DOUBLE,
  tesp_inwc DOUBLE, u_tesp_inwc DOUBLE, rated_tesp_inwc DOUBLE, prob_over_rated DOUBLE, filter_drop_inwc DOUBLE,
  coil_drop_inwc DOUBLE, airflow_cfm DOUBLE, airflow_source VARCHAR, airflow_ratio DOUBLE, power_w DOUBLE,
  return_restriction_inwc DOUBLE, supply_restriction_inwc DOUBLE, airflow_setting_inwc DOUBLE, valid BOOLEAN,
  like_new BOOLEAN, sides_known BOOLEAN, set_aside_because VARCHAR, return_recorded DOUBLE, supply_recorded DOUBLE,
  pressure_unit VARCHAR, reported_tesp DOUBLE, repairs VARCHAR, visited_on DATE);
CREATE VIEW visit_reading AS
SELECT visit_id, equipment_id, visited_at, visited_on, mode, return_inwc, supply_inwc, tesp_inwc, u_tesp_inwc, valid,
  like_new, return_recorded, supply_recorded, pressure_unit, repairs
FROM visit_static;
CREATE TABLE site_static (site_id VARCHAR, branch VARCHAR, equipment_id VARCHAR, mode VARCHAR, n_visits BIGINT,
  first_on DATE, last_on DATE, level_on DATE, level_inwc DOUBLE, level_lo_inwc DOUBLE, level_hi_inwc DOUBLE,
  as_found_level_inwc DOUBLE, rated_tesp_inwc DOUBLE, prob_over_rated DOUBLE, expected_excess_inwc DOUBLE,
  return_level_inwc DOUBLE, supply_level_inwc DOUBLE, airflow_ratio DOUBLE, n_offset_corrected BIGINT,
  static_state VARCHAR, problem_side VARCHAR, prob_side DOUBLE, design_cfm DOUBLE, n_valid BIGINT,
  return_restriction_inwc DOUBLE, supply_restriction_inwc DOUBLE, airflow_setting_inwc DOUBLE, in_service BOOLEAN, equipment_kind VARCHAR,
  needs_upkeep BOOLEAN AS (static_state = 'within_rating' AND as_found_level_inwc > rated_tesp_inwc + 1e-9));
CREATE VIEW equipment_static AS
SELECT any_value(site_id) AS site_id, any_value(branch) AS branch, equipment_id,
  any_value(equipment_kind) AS equipment_kind, any_value(in_service) AS in_service,
  arg_min(
    if(needs_upkeep, 'upkeep', static_state),
    CASE static_state WHEN 'chronic' THEN 1 WHEN 'uncertain' THEN 2 WHEN 'too_few_visits' THEN 5
      ELSE if(needs_upkeep, 3, 4) END
  ) AS worst_state,
  bool_or(static_state = 'chronic' AND problem_side = 'return') AS chronic_return,
  bool_or(static_state = 'chronic' AND problem_side = 'supply') AS chronic_supply,
  bool_or(static_state = 'chronic' AND problem_side = 'airflow_setting') AS chronic_airflow_setting
FROM site_static
GROUP BY equipment_id;
CREATE TABLE site_trend (site_id VARCHAR, equipment_id VARCHAR, mode VARCHAR, n_visits BIGINT, span_days BIGINT,
  slope_inwc_per_year DOUBLE, slope_lo DOUBLE, slope_hi DOUBLE, mann_kendall_s BIGINT, p_value DOUBLE,
  q_value DOUBLE, trend VARCHAR, rated_crossing_on DATE);
CREATE TABLE equipment_trend (site_id VARCHAR, equipment_id VARCHAR, n_visits BIGINT, span_days BIGINT,
  slope_inwc_per_year DOUBLE, slope_lo DOUBLE, slope_hi DOUBLE, kendall_s BIGINT, kendall_p DOUBLE,
  p_value DOUBLE, q_value DOUBLE, trend VARCHAR);
CREATE TABLE site_priority (rank BIGINT, problem_side VARCHAR, rank_in_side BIGINT, site_id VARCHAR, branch VARCHAR,
  equipment_id VARCHAR, mode VARCHAR, expected_excess_inwc DOUBLE, level_inwc DOUBLE, rated_tesp_inwc DOUBLE,
  airflow_shortfall_cfm DOUBLE, extra_power_w DOUBLE, check_first VARCHAR,
  rank_lo BIGINT, rank_hi BIGINT, extra_cost_per_year DOUBLE, static_state VARCHAR, n_visits BIGINT,
  n_offset_corrected BIGINT, last_on DATE, level_lo_inwc DOUBLE, level_hi_inwc DOUBLE, return_level_inwc DOUBLE,
  supply_level_inwc DOUBLE, prob_over_rated DOUBLE, prob_side DOUBLE, site_label VARCHAR, equipment_kind VARCHAR,
  other_mode VARCHAR, other_state VARCHAR, other_problem_side VARCHAR, other_level_inwc DOUBLE,
  other_level_lo_inwc DOUBLE, other_level_hi_inwc DOUBLE, other_prob_over_rated DOUBLE, other_n_visits BIGINT);
CREATE TABLE site_upkeep (site_id VARCHAR, site_label VARCHAR, branch VARCHAR, equipment_id VARCHAR,
  equipment_kind VARCHAR, mode VARCHAR, as_found_excess_inwc DOUBLE, as_found_level_inwc DOUBLE, level_inwc DOUBLE,
  level_lo_inwc DOUBLE, level_hi_inwc DOUBLE, rated_tesp_inwc DOUBLE, prob_over_rated DOUBLE, n_visits BIGINT,
  last_on DATE, n_valid BIGINT, n_filter_dirty BIGINT, n_coil_dirty BIGINT, n_blower_dirty BIGINT,
  n_registers_closed BIGINT, other_mode VARCHAR, other_state VARCHAR, other_level_inwc DOUBLE,
  other_as_found_level_inwc DOUBLE);
CREATE TABLE technician_zeroing (technician_id VARCHAR, branch VARCHAR, n_visits BIGINT, n_not_zeroed BIGINT,
  skip_rate DOUBLE, skip_lo DOUBLE, skip_hi DOUBLE, shrunk_skip_rate DOUBLE, fleet_skip_rate DOUBLE,
  funnel_hi DOUBLE, q_value DOUBLE, hidden_offset_inwc DOUBLE, hidden_port VARCHAR, hidden_instrument_id VARCHAR,
  zeroing_state VARCHAR);
CREATE TABLE instrument_offset (technician_id VARCHAR, instrument_id VARCHAR, n_visits BIGINT, n_sites BIGINT,
  return_offset_inwc DOUBLE, return_offset_se DOUBLE, supply_offset_inwc DOUBLE, supply_offset_se DOUBLE,
  q_value DOUBLE, tesp_offset_inwc DOUBLE, tesp_offset_se DOUBLE, return_doubtful BOOLEAN, supply_doubtful BOOLEAN);
CREATE TABLE work_effect (work_kind VARCHAR, n_pairs BIGINT, shift_inwc DOUBLE, shift_lo DOUBLE, shift_hi DOUBLE,
  share_within_rating_before DOUBLE, share_within_rating_after DOUBLE, n_works BIGINT, cost_per_tenth_inwc DOUBLE);
CREATE TABLE site_what_if (equipment_id VARCHAR, mode VARCHAR, change VARCHAR, tesp_inwc DOUBLE, airflow_cfm DOUBLE,
  power_w DOUBLE, tesp_change_inwc DOUBLE, airflow_change_cfm DOUBLE, power_change_w DOUBLE);
CREATE TABLE site_attention (site_id VARCHAR, branch VARCHAR, equipment_id VARCHAR, mode VARCHAR, reason VARCHAR,
  n_visits BIGINT, last_valid_on DATE, visits_needed BIGINT);
CREATE TABLE work_follow_up (work_id VARCHAR, site_id VARCHAR, branch VARCHAR, equipment_id VARCHAR, work_kind VARCHAR,
  done_on DATE, measured_on DATE, days_until_measured BIGINT, follow_up VARCHAR);
CREATE TABLE gate_result (stage VARCHAR, expectation VARCHAR, table_name VARCHAR, success BOOLEAN, observed BIGINT,
  allowed BIGINT, detail VARCHAR);
CREATE TABLE technician_training (technician_id VARCHAR, trained_on DATE, n_before BIGINT, n_not_zeroed_before BIGINT,
  rate_before DOUBLE, n_after BIGINT, n_not_zeroed_after BIGINT, rate_after DOUBLE, change DOUBLE, change_lo DOUBLE,
  change_hi DOUBLE, since_training VARCHAR, q_value DOUBLE);
CREATE TABLE technician_month (technician_id VARCHAR, month_on DATE, n_visits BIGINT, n_not_zeroed BIGINT);
CREATE TABLE offset_follows (technician_id VARCHAR, instrument_id VARCHAR, port VARCHAR, offset_inwc DOUBLE,
  follows VARCHAR);
CREATE TABLE practice_rate (technician_id VARCHAR, check_id VARCHAR, n_visits BIGINT, n_found BIGINT, rate DOUBLE,
  rate_lo DOUBLE, rate_hi DOUBLE, fleet_rate DOUBLE, q_value DOUBLE, practice_state VARCHAR);
CREATE TABLE site_change (site_id VARCHAR, equipment_id VARCHAR, mode VARCHAR, change VARCHAR, was_state VARCHAR,
  state VARCHAR, was_side VARCHAR, side VARCHAR, was_level_inwc DOUBLE, level_inwc DOUBLE, level_change_inwc DOUBLE,
  since DATE);
CREATE TABLE coaching_visit (technician_id VARCHAR, finding VARCHAR, visit_id VARCHAR, visited_on DATE, site_id VARCHAR,
  equipment_id VARCHAR, mode VARCHAR, instrument_id VARCHAR, return_recorded DOUBLE, supply_recorded DOUBLE,
  pressure_unit VARCHAR, look_at VARCHAR);
CREATE TABLE instrument_drift (instrument_id VARCHAR, port VARCHAR, n_visits BIGINT, n_technicians BIGINT, first_on DATE,
  last_on DATE, slope_inwc_per_year DOUBLE, slope_lo DOUBLE, slope_hi DOUBLE, q_value DOUBLE, drift_state VARCHAR,
  latest_offset_inwc DOUBLE, calibrated_on DATE, step_inwc DOUBLE, step_lo DOUBLE, step_hi DOUBLE, material_on DATE,
  advice VARCHAR);
CREATE TABLE visit_count (counted_by VARCHAR, visited_on DATE, technician_id VARCHAR, instrument_id VARCHAR,
  branch VARCHAR, n_visits BIGINT, n_set_aside BIGINT, n_not_like_new BIGINT, n_repaired BIGINT, n_mended BIGINT);
CREATE TABLE finding_count (counted_by VARCHAR, visited_on DATE, branch VARCHAR, check_id VARCHAR, consequence VARCHAR,
  n_found BIGINT);
