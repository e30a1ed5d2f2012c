-- What the gate has to judge and no table holds: files without a required column, of which no row was read. What else it
-- asks stands in sql/gate/.
CREATE OR REPLACE TABLE gate_fact AS
SELECT
    file,
    table_name,
    'missing_column' AS problem,
    'the header lacks ' || missing AS detail
FROM load_file
WHERE NOT accepted AND missing <> '';
