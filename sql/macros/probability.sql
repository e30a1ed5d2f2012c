-- The normal distribution, and the probability of being over a limit. Pure SQL: DuckDB has no error function.
-- Names that begin with an underscore are steps of the macros below them, not meant for use on their own.

-- Polynomial of degree 6 by Horner's rule, the highest coefficient first.
-- unit: none. source: definition
CREATE OR REPLACE MACRO _polynomial_6(x DOUBLE, c6 DOUBLE, c5 DOUBLE, c4 DOUBLE, c3 DOUBLE, c2 DOUBLE, c1 DOUBLE, c0 DOUBLE) AS (
    (((((c6 * x + c5) * x + c4) * x + c3) * x + c2) * x + c1) * x + c0
);

-- Polynomial of degree 7 by Horner's rule, the highest coefficient first.
-- unit: none. source: definition
CREATE OR REPLACE MACRO _polynomial_7(x DOUBLE, c7 DOUBLE, c6 DOUBLE, c5 DOUBLE, c4 DOUBLE, c3 DOUBLE, c2 DOUBLE, c1 DOUBLE, c0 DOUBLE) AS (
    ((((((c7 * x + c6) * x + c5) * x + c4) * x + c3) * x + c2) * x + c1) * x + c0
);

-- Density of the standard normal distribution.
-- unit: z in standard deviations; density. source: definition, exp(-z^2 / 2) / sqrt(2 pi)
CREATE OR REPLACE MACRO normal_pdf(z DOUBLE) AS (
    exp(-0.5e0 * z * z) * 0.3989422804014327e0
);

-- Upper tail of the standard normal distribution for t from 0 to 7.07, a ratio of two polynomials.
-- unit: t in standard deviations; probability. source: Hart 1968, coefficients as given by West 2005 (see normal_cdf)
CREATE OR REPLACE MACRO _normal_tail_near(t DOUBLE) AS (
    exp(-0.5e0 * t * t)
    * _polynomial_6(
        t,
        3.52624965998911e-2, 0.700383064443688e0, 6.37396220353165e0, 33.912866078383e0,
        112.079291497871e0, 221.213596169931e0, 220.206867912376e0
    )
    / _polynomial_7(
        t,
        8.83883476483184e-2, 1.75566716318264e0, 16.064177579207e0, 86.7807322029461e0,
        296.564248779674e0, 637.333633378831e0, 793.826512519948e0, 440.413735824752e0
    )
);

-- Upper tail of the standard normal distribution for t beyond 7.07, a continued fraction.
-- unit: t in standard deviations; probability. source: West 2005 (see normal_cdf)
CREATE OR REPLACE MACRO _normal_tail_far(t DOUBLE) AS (
    normal_pdf(t) / (t + 1 / (t + 2 / (t + 3 / (t + 4 / (t + 0.65e0)))))
);

-- Probability that a standard normal value is at most z.
-- unit: z in standard deviations; probability, absolute error below 1e-14. source: Hart 1968 as given by West 2005,
-- "Better approximations to cumulative normal functions", Wilmott Magazine (from memory; measured against scipy in the tests)
CREATE OR REPLACE MACRO normal_cdf(z DOUBLE) AS (
    CASE
        WHEN abs(z) < 7.07106781186547e0 AND z <= 0 THEN _normal_tail_near(abs(z))
        WHEN abs(z) < 7.07106781186547e0 THEN 1 - _normal_tail_near(abs(z))
        WHEN z <= 0 THEN _normal_tail_far(abs(z))
        WHEN z > 0 THEN 1 - _normal_tail_far(abs(z))
    END
);

-- Quantile of the standard normal distribution, middle part: q = p - 0.5 with |q| at most 0.425, r = 0.180625 - q^2.
-- unit: standard deviations. source: Wichura 1988, AS 241 PPND16 (see normal_quantile)
CREATE OR REPLACE MACRO _normal_quantile_middle(q DOUBLE, r DOUBLE) AS (
    q * _polynomial_7(
        r,
        2509.0809287301226727e0, 33430.575583588128105e0, 67265.770927008700853e0, 45921.953931549871457e0,
        13731.693765509461125e0, 1971.5909503065514427e0, 133.14166789178437745e0, 3.387132872796366608e0
    )
    / _polynomial_7(
        r,
        5226.495278852545925e0, 28729.085735721942674e0, 39307.89580009271061e0, 21213.794301586595867e0,
        5394.1960214247511077e0, 687.1870074920579083e0, 42.313330701600911252e0, 1e0
    )
);

-- Quantile of the standard normal distribution, near tail, as a magnitude: s = sqrt(-ln(tail)) at most 5, r = s - 1.6.
-- unit: standard deviations. source: Wichura 1988, AS 241 PPND16 (see normal_quantile)
CREATE OR REPLACE MACRO _normal_quantile_near(r DOUBLE) AS (
    _polynomial_7(
        r,
        7.7454501427834140764e-4, 0.0227238449892691845833e0, 0.24178072517745061177e0, 1.27045825245236838258e0,
        3.64784832476320460504e0, 5.7694972214606914055e0, 4.6303378461565452959e0, 1.42343711074968357734e0
    )
    / _polynomial_7(
        r,
        1.05075007164441684324e-9, 5.475938084995344946e-4, 0.0151986665636164571966e0, 0.14810397642748007459e0,
        0.68976733498510000455e0, 1.6763848301838038494e0, 2.05319162663775882187e0, 1e0
    )
);

-- Quantile of the standard normal distribution, far tail, as a magnitude: s = sqrt(-ln(tail)) beyond 5, r = s - 5.
-- unit: standard deviations. source: Wichura 1988, AS 241 PPND16 (see normal_quantile)
CREATE OR REPLACE MACRO _normal_quantile_far(r DOUBLE) AS (
    _polynomial_7(
        r,
        2.01033439929228813265e-7, 2.71155556874348757815e-5, 0.0012426609473880784386e0, 0.026532189526576123093e0,
        0.29656057182850489123e0, 1.7848265399172913358e0, 5.4637849111641143699e0, 6.6579046435011037772e0
    )
    / _polynomial_7(
        r,
        2.04426310338993978564e-15, 1.4215117583164458887e-7, 1.8463183175100546818e-5, 7.868691311456132591e-4,
        0.0148753612908506148525e0, 0.13692988092273580531e0, 0.59983220655588793769e0, 1e0
    )
);

-- The z that a standard normal value stays below with probability p; NULL unless p lies between 0 and 1, both excluded.
-- unit: probability to standard deviations, relative error below 1e-12. source: Wichura 1988, Algorithm AS 241
-- (PPND16), Applied Statistics 37:477 (from memory; measured against scipy in the tests)
CREATE OR REPLACE MACRO normal_quantile(p DOUBLE) AS (
    CASE
        WHEN NOT (p > 0 AND p < 1) THEN NULL
        WHEN abs(p - 0.5e0) <= 0.425e0
            THEN _normal_quantile_middle(p - 0.5e0, 0.180625e0 - (p - 0.5e0) * (p - 0.5e0))
        WHEN sqrt(-ln(least(p, 1 - p))) <= 5
            THEN sign(p - 0.5e0) * _normal_quantile_near(sqrt(-ln(least(p, 1 - p))) - 1.6e0)
        ELSE sign(p - 0.5e0) * _normal_quantile_far(sqrt(-ln(least(p, 1 - p))) - 5)
    END
);

-- Probability that a true level is over a limit, the level being known with a normal standard uncertainty u.
-- unit: level, u and lim in one unit; probability. source: data contract section 3, prob_over_rated
-- No uncertainty (u = 0) gives 1 or 0: 1 where exceeds(level, lim). A negative u gives NULL.
CREATE OR REPLACE MACRO prob_over(level DOUBLE, u DOUBLE, lim DOUBLE) AS (
    CASE
        WHEN u > 0 THEN normal_cdf((level - lim) / u)
        WHEN u = 0 AND exceeds(level, lim) THEN 1e0
        WHEN u = 0 AND NOT exceeds(level, lim) THEN 0e0
    END
);
