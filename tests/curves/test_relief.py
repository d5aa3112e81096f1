"""Uncertainty of the relief: of the largest gap wherever it lies, not of the gap at one fret."""

import numpy as np
import pytest

from vision.curves.relief import relief_from_gap, relief_u_mm

_FRETS = 22
_PLACE = np.linspace(0.0, 1.0, _FRETS)


def _common_bow(u_mm: float) -> np.ndarray:
    """Covariance of a bow that is uncertain as a whole, u_mm in the middle."""
    shape = u_mm * 4.0 * _PLACE * (1.0 - _PLACE)
    return np.outer(shape, shape)


def test_a_clear_bow_has_the_uncertainty_of_its_deepest_place() -> None:
    gap = 0.3 * 4.0 * _PLACE * (1.0 - _PLACE)
    _, fret = relief_from_gap(gap)
    at_fret = np.sqrt(_common_bow(0.03)[fret - 1, fret - 1])
    assert relief_u_mm(gap, _common_bow(0.03)) == pytest.approx(at_fret, rel=0, abs=0.003)
    assert relief_u_mm(gap, _common_bow(0.03)) >= at_fret  # few draws may not make it look surer


def test_an_even_s_may_be_either_lobe() -> None:
    """Lobes of +0.10 and -0.10 mm: a bow of either sign decides, so the relief is +0.1 or -0.1 at even odds."""
    gap = 0.1 * np.sin(2.0 * np.pi * _PLACE)
    u = relief_u_mm(gap, _common_bow(0.02))
    assert 0.11 < u < 0.18  # half of the draws are 0.2 mm away: 0.2 / sqrt(2) = 0.14


def test_the_unlikelier_lobe_of_an_s_lies_within_the_interval() -> None:
    """Lobes of +0.108 and -0.093 mm under a bow uncertain by 0.01: about one draw in six is 0.2 mm away."""
    gap = 0.1 * np.sin(2.0 * np.pi * _PLACE) + 0.01 * 4.0 * _PLACE * (1.0 - _PLACE)
    relief, _ = relief_from_gap(gap)
    u = relief_u_mm(gap, _common_bow(0.01))
    assert 0.2 < 1.96 * u < 0.25
    # A lobe that hardly ever wins does not count.
    clear = 0.1 * np.sin(2.0 * np.pi * _PLACE) + 0.05 * 4.0 * _PLACE * (1.0 - _PLACE)
    assert relief_u_mm(clear, _common_bow(0.01)) < 0.015
    assert relief > 0.1


def test_a_straight_neck_is_as_uncertain_as_its_curve() -> None:
    assert 0.018 < relief_u_mm(np.zeros(_FRETS), _common_bow(0.02)) < 0.022


def test_the_same_curve_gives_the_same_figure() -> None:
    gap = 0.1 * np.sin(2.0 * np.pi * _PLACE)
    assert relief_u_mm(gap, _common_bow(0.02)) == relief_u_mm(gap, _common_bow(0.02))


def test_misuse_is_named() -> None:
    with pytest.raises(ValueError, match=r"gap_cov_mm2 \(3, 3\) must be square in the size of gap_mm"):
        relief_u_mm(np.zeros(_FRETS), np.eye(3))
    with pytest.raises(ValueError, match="must be finite"):
        relief_u_mm(np.full(_FRETS, np.nan), np.eye(_FRETS))
