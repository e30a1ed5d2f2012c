"""Distribution functions that SQL lacks, given to the work file's connection, vectorised by scipy.

Only stages may use them; what analysts get in the published file are pure SQL macros (`sql/macros/`).
"""

from __future__ import annotations

from collections.abc import Callable

import duckdb
import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]


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


FUNCTIONS: tuple[Callable[[Array, Array], Array], ...] = (student_t_cdf, student_t_pdf, student_t_quantile)


def _vectorised(function: Callable[[Array, Array], Array]) -> Callable[..., pa.Array]:
    def call(first: pa.ChunkedArray, second: pa.ChunkedArray) -> pa.Array:
        a = first.to_numpy(zero_copy_only=False).astype(np.float64)
        b = second.to_numpy(zero_copy_only=False).astype(np.float64)
        return pa.array(function(a, b), from_pandas=True)

    return call


def register(con: duckdb.DuckDBPyConnection) -> None:
    """Make the functions callable from SQL on this connection."""
    for function in FUNCTIONS:
        con.create_function(
            function.__name__,
            _vectorised(function),
            ["DOUBLE", "DOUBLE"],
            "DOUBLE",
            type="arrow",  # type: ignore[call-overload]
        )
