-- Where does the uncertainty of a TESP come from, over all visits?
SELECT
    source,
    sqrt(avg(u_inwc * u_inwc)) AS root_mean_square_inwc,
    sum(u_inwc * u_inwc) / sum(sum(u_inwc * u_inwc)) OVER () AS share_of_variance
FROM visit_uncertainty
GROUP BY source
ORDER BY share_of_variance DESC, source;
