-- Which ten units are furthest over their rating, and what is to be checked first?
SELECT
    rank,
    branch,
    site_id,
    equipment_id,
    mode,
    problem_side,
    level_inwc,
    rated_tesp_inwc,
    expected_excess_inwc,
    check_first
FROM site_priority
ORDER BY rank
LIMIT 10;
