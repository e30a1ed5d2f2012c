-- Every threshold of the run, with its unit and source.
SELECT
    setting.name,
    setting.value,
    setting.unit,
    setting.source
FROM setting;
