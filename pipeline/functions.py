"""Distribution functions that SQL lacks, given to the work file's connection, vectorised by scipy.

Only stages may use them; what analysts get in the published file are pure SQL macros (`sql/macros/`).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from inspect import signature

import duckdb
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]
ENDLESS = 1e100  # of a value whose square still is a number


def student_t_cdf(x: Array, df: Array) -> Array:
    """P(T <= x) for Student's t with `df` degrees of freedom (any real df > 0)."""
    return np.asarray(special.stdtr(df, x), dtype=np.float64)


def student_t_pdf(x: Array, df: Array) -> Array:
    """Density of Student's t."""
    scale = special.poch(df / 2, 0.5) / np.sqrt(np.pi * df)
    return np.asarray(scale * (1 + x**2 / df) ** (-(df + 1) / 2), dtype=np.float64)


def student_t_quantile(p: Array, df: Array) -> Array:
    """The x with P(T <= x) = p."""
    # The same few numbers of visits come over and over, and each takes a search. A complex number holds both arguments.
    asked, place = np.unique(p + 1j * df, return_inverse=True)
    return np.asarray(special.stdtrit(asked.imag, asked.real), dtype=np.float64)[place]


def bivariate_t_cdf(x: Array, y: Array, correlation: Array, df: Array) -> Array:
    """P(T <= x and U <= y) of two of Student's t with one scatter in common and this correlation.

    From a correlation of -1, where it is max(0, P(T <= x) + P(U <= y) - 1), by its derivative in the correlation, which
    is elementary (Plackett 1954 for normal values; Genz 2004, Stat. Comput. 14:251; from memory), over 24 points of
    Gauss and Legendre; to about 1e-5.
    """
    # Without any scatter a lead is endless, and the correlation no number: then nothing depends on it.
    x, y = np.clip(x, -ENDLESS, ENDLESS), np.clip(y, -ENDLESS, ENDLESS)
    angle = np.arcsin(np.clip(np.nan_to_num(correlation), -1, 1))
    below_x, below_y = special.stdtr(df, x), special.stdtr(df, y)
    half = (angle + np.pi / 2) / 2
    total = np.zeros_like(half)
    for point, weight in zip(*np.polynomial.legendre.leggauss(24), strict=True):
        sine = np.sin(half * (1 + point) - np.pi / 2)
        away = np.maximum(x**2 + y**2 - 2 * x * y * sine, 0) / (df * np.maximum(1 - sine**2, 1e-300))
        total += weight * (1 + away) ** (-df / 2)
    both = np.maximum(below_x + below_y - 1, 0) + half * total / (2 * np.pi)
    return np.asarray(np.minimum(both, np.minimum(below_x, below_y)), dtype=np.float64)


FUNCTIONS: tuple[Callable[..., Array], ...] = (
    student_t_cdf,
    student_t_pdf,
    student_t_quantile,
    bivariate_t_cdf,
)


def _vectorised(function: Callable[..., Array]) -> Callable[..., pa.Array]:
    @wraps(function)  # DuckDB asks how many columns it takes
    def call(*columns: pa.ChunkedArray) -> pa.Array:
        arrays = (column.to_numpy(zero_copy_only=False).astype(np.float64) for column in columns)
        return pa.array(function(*arrays), from_pandas=True)

    return call


def register(con: duckdb.DuckDBPyConnection) -> None:
    """Make the functions callable from SQL on this connection."""
    for function in FUNCTIONS:
        con.create_function(
            function.__name__,
            _vectorised(function),
            ["DOUBLE"] * len(signature(function).parameters),
            "DOUBLE",
            type="arrow",  # type: ignore[call-overload]
        )
