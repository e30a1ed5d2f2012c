"""The crossed fit of one series alone, as the tests ask for it."""

from __future__ import annotations

from pipeline.technician.crossed import CrossedFit, CrossedRows, Measurers
from pipeline.technician.places import Floats, Ints, Places


def fit_crossed(reading: Floats, place: Ints, measurer: Ints, *voices: Ints) -> CrossedFit:
    """The fit of n readings with place and measurer codes from 0 (each shape (n,)), and who share a voice."""
    places = Places(place)
    return CrossedRows(places, Measurers(places, measurer, *voices), reading).fit()
