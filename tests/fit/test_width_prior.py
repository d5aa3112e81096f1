"""What is believed of a board's widths: usual ones of the trade, or what the user measured."""

import pytest

from vision.fit.neck_model import WidthPrior
from vision.fit.width_prior import width_prior
from vision.settings import StatedNeck


def test_usual_widths_cover_what_the_trade_makes() -> None:
    """Common practice: 41 to 43.5 mm at the nut, 50.5 to 53.5 mm at fret 12, from edge to edge."""
    usual = width_prior(StatedNeck(647.7, 22), with_front=False)
    for width_mm, u_mm, low_mm, high_mm in (
        (usual.nut_mm, usual.nut_u_mm, 41.0, 43.5), (usual.at_12_mm, usual.at_12_u_mm, 50.5, 53.5)
    ):
        assert low_mm < width_mm < high_mm
        assert width_mm - 2.5 * u_mm < low_mm < width_mm - u_mm
        assert width_mm + u_mm < high_mm < width_mm + 2.5 * u_mm


def test_stated_widths_are_those_of_the_board_as_they_are() -> None:
    stated = StatedNeck(647.7, 22, nut_width_mm=43.1, width_at_12_mm=52.6, width_u_mm=0.15)
    for with_front in (False, True):
        assert width_prior(stated, with_front=with_front) == WidthPrior(43.1, 0.15, 52.6, 0.15)


def test_one_stated_width_leaves_the_other_as_usual() -> None:
    usual = width_prior(StatedNeck(647.7, 22), with_front=False)
    one = width_prior(StatedNeck(647.7, 22, nut_width_mm=43.1), with_front=False)
    assert (one.nut_mm, one.nut_u_mm) == (43.1, 0.1)
    assert (one.at_12_mm, one.at_12_u_mm) == (usual.at_12_mm, usual.at_12_u_mm)


@pytest.mark.parametrize("scale_length_mm", [647.7, 863.6])
def test_seen_from_the_front_the_usual_widths_hardly_matter(scale_length_mm: float) -> None:
    stated = StatedNeck(scale_length_mm, 20)
    usual, seen = (width_prior(stated, with_front=front) for front in (False, True))
    assert (seen.nut_mm, seen.at_12_mm) == (usual.nut_mm, usual.at_12_mm)
    assert 2.0 * usual.nut_u_mm < seen.nut_u_mm < 4.0 * usual.nut_u_mm
    assert 2.0 * usual.at_12_u_mm < seen.at_12_u_mm < 4.0 * usual.at_12_u_mm


def test_a_bass_guitar_is_wider_and_less_sure() -> None:
    guitar, bass = (width_prior(StatedNeck(mm, 20), with_front=False) for mm in (647.7, 863.6))
    assert guitar.at_12_mm + 1.0 < bass.at_12_mm < guitar.at_12_mm + 5.0
    assert bass.nut_u_mm > 2.0 * guitar.nut_u_mm
