"""Colours keep apart for colour-blind readers and keep their contrast with the paper, in both themes."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from reports import palette

Array = NDArray[np.float64]
# Simulation matrices of severity 1.0, linear RGB: Machado, Oliveira, Fernandes 2009, table 1 (from memory).
SIGHT = {
    "usual": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
LEAST_DISTANCE = 0.09  # in OKLab; about 0.02 is just noticeable side by side


def linear(colour: str) -> Array:
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """WCAG 2.2 contrast ratio."""
    low, high = sorted(float(linear(c) @ np.array([0.2126, 0.7152, 0.0722])) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def oklab(rgb: Array) -> Array:
    """OKLab coordinates of a linear RGB colour (B. Ottosson 2020, from memory)."""
    lms = np.array(
        [
            [0.4122214708, 0.5363325363, 0.0514459929],
            [0.2119034982, 0.6806995451, 0.1073969566],
            [0.0883024619, 0.2817188376, 0.6299787005],
        ]
    ) @ np.clip(rgb, 0, 1)
    return np.asarray(
        np.array(
            [
                [0.2104542553, 0.7936177850, -0.0040720468],
                [1.9779984951, -2.4285922050, 0.4505937099],
                [0.0259040371, 0.7827717662, -0.8086757660],
            ]
        )
        @ np.cbrt(np.clip(lms, 0, None))
    )


def colours(theme: str) -> dict[str, str]:
    return {m.key: m.light if theme == "light" else m.dark for m in palette.MEANINGS}


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("sight", SIGHT)
def test_any_two_meanings_keep_apart(theme: str, sight: str) -> None:
    seen = {key: oklab(SIGHT[sight] @ linear(colour)) for key, colour in colours(theme).items()}
    for one, other in combinations(seen, 2):
        assert np.linalg.norm(seen[one] - seen[other]) >= LEAST_DISTANCE, (one, other)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet", "wash"])
def test_text_colours_keep_their_contrast(theme: str, ground: str) -> None:
    column = 0 if theme == "light" else 1
    neutral = {name: pair[column] for name, pair in palette.NEUTRAL.items()}
    for name, colour in {**colours(theme), **{n: neutral[n] for n in ("ink", "quiet", "focus")}}.items():
        assert contrast(colour, neutral[ground]) >= 4.5, (name, colour, neutral[ground])
    assert contrast(neutral["none"], neutral[ground]) >= 3.0


def test_black_on_white_has_the_contrast_that_the_guideline_names() -> None:
    """WCAG 2.2 names 21:1 as the largest contrast."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_no_two_meanings_share_a_shape() -> None:
    shapes = [meaning.shape for meaning in palette.BY_KEY.values()]
    assert len(set(shapes)) == len(shapes)


def test_plain_colours_leave_no_style_variable() -> None:
    text = " ".join(f"var(--{name})" for name in (*palette.NEUTRAL, *palette.BY_KEY))
    assert "var(" not in palette.plain_colours(text)
