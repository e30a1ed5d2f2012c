-- The checks, their consequence and why, as the check files themselves tell.
SELECT
    check_id,
    title,
    consequence,
    why
FROM check_catalog
ORDER BY check_id;
