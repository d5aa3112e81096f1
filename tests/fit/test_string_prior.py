"""What is believed of strings before the photographs are read: usual heights, and how sure they are of each other.

Heights are common practice of the trade: about 0.6 mm under the string at the first fret, 2.0 mm (thinnest) to 2.6 mm
(thickest) at the last.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.neck_models import NUT_WIDTH_MM, flat_neck
from vision.fit.neck_model import NeckModel, width_mm
from vision.fit.string_prior import centre_offset_u_mm, string_prior, string_radii_mm, usual_string_count

Array = NDArray[np.float64]

GUITAR, BASS_GUITAR = 647.7, 863.6
X_FIRST, X_LAST, Y_FIRST, Y_LAST = range(4)
_ARCH_RADIUS_MM = 260.0  # a usual board


def _prior(
    scale_length_mm: float = GUITAR, *, left_handed: bool = False
) -> tuple[NeckModel, Array, Array, Array]:
    """Model, radii (S,), mean (S, 4) and covariance (S, 4, S, 4)."""
    model, theta = flat_neck(21, scale_length_mm)
    count = usual_string_count(scale_length_mm)
    radius = string_radii_mm(scale_length_mm, count)[:: -1 if left_handed else 1]
    mean, covariance = string_prior(model, theta, radius)
    assert covariance.shape == (4 * count, 4 * count)
    return model, radius, mean, covariance.reshape(count, 4, count, 4)


def _under_mm(mean: Array, radius: Array) -> Array:
    """(S, 2) undersides above the tops of an arched fret, at the first and the last fret."""
    arch = -(mean[:, [X_FIRST, X_LAST]] ** 2) / (2.0 * _ARCH_RADIUS_MM)
    under: Array = mean[:, [Y_FIRST, Y_LAST]] - arch - radius[:, None]
    return under


@pytest.mark.parametrize(("scale_length_mm", "strings"), [(GUITAR, 6), (BASS_GUITAR, 4), (719.9, 6), (720.0, 4)])
def test_strings_become_thinner_from_the_lowest(scale_length_mm: float, strings: int) -> None:
    assert usual_string_count(scale_length_mm) == strings
    radius = string_radii_mm(scale_length_mm, strings)
    assert radius.shape == (strings,)
    assert (np.diff(radius) < 0.0).all()
    assert (radius > 0.1).all()
    assert (radius < 1.5).all()
    offset_u = centre_offset_u_mm(radius)
    assert (np.diff(offset_u) < 0.0).all()
    assert 0.03 < offset_u.min() < offset_u.max() < 0.2


@pytest.mark.parametrize("scale_length_mm", [GUITAR, BASS_GUITAR])
def test_thick_strings_stand_higher(scale_length_mm: float) -> None:
    _, radius, mean, _ = _prior(scale_length_mm)
    under = _under_mm(mean, radius)
    np.testing.assert_allclose(under[:, 0], 0.6, rtol=0, atol=1e-9)
    np.testing.assert_allclose(under[[0, -1], 1], [2.6, 2.0], rtol=0, atol=1e-9)
    np.testing.assert_allclose(np.diff(under[:, 1]), -0.6 / (len(radius) - 1), rtol=0, atol=1e-9)


def test_strings_spread_over_the_width_from_side_to_side() -> None:
    model, _, mean, _ = _prior()
    _, theta = flat_neck(21)
    for column, z_mm in ((X_FIRST, model.z_mm[0]), (X_LAST, model.z_mm[-1])):
        width = float(width_mm(model, theta, np.array([z_mm]))[0])
        outer = mean[[0, -1], column] / (width / 2.0)
        np.testing.assert_allclose(outer, [-0.85, 0.85], rtol=0, atol=0.02)
        spacing = np.diff(mean[:, column])
        np.testing.assert_allclose(spacing, spacing.mean(), rtol=0, atol=1e-9)
    assert 6.5 < mean[1, X_FIRST] - mean[0, X_FIRST] < 7.7  # about 7 mm at the nut (common practice)
    assert mean[1, X_FIRST] - mean[0, X_FIRST] > 0.8 * NUT_WIDTH_MM / 5.0


def test_left_handed_strings_are_the_mirror_of_right_handed_ones() -> None:
    _, radius, mean, covariance = _prior()
    _, radius_left, mean_left, covariance_left = _prior(left_handed=True)
    assert radius_left[-1] == radius[0]
    np.testing.assert_allclose(mean_left[::-1] * [-1.0, -1.0, 1.0, 1.0], mean, rtol=0, atol=1e-12)
    np.testing.assert_allclose(covariance_left[::-1, :, ::-1, :], covariance, rtol=0, atol=1e-12)
    assert _under_mm(mean_left, radius_left)[-1, 1] == pytest.approx(2.6, rel=0, abs=1e-9)


@pytest.mark.parametrize("scale_length_mm", [GUITAR, BASS_GUITAR])
def test_the_covariance_is_symmetric_and_positive_definite(scale_length_mm: float) -> None:
    _, _, mean, covariance = _prior(scale_length_mm)
    flat = covariance.reshape(mean.size, mean.size)
    np.testing.assert_array_equal(flat, flat.T)
    values = np.linalg.eigvalsh(flat)
    assert values.min() > 0.01
    assert values.max() / values.min() < 1e4


def test_a_guitar_is_set_up_low_or_high_as_a_whole() -> None:
    _, _, _, covariance = _prior()
    for end, least_mm, most_mm in ((Y_FIRST, 0.2, 0.4), (Y_LAST, 0.7, 1.1)):
        heights = covariance[:, end, :, end]
        u_mm = np.sqrt(np.diag(heights))
        assert least_mm < u_mm.min() <= u_mm.max() < most_mm
        correlation = heights / (u_mm[:, None] * u_mm[None, :])
        apart = correlation[~np.eye(len(u_mm), dtype=bool)]
        assert 0.65 < apart.min() <= apart.max() < 0.9
        # What six strings say together of their common height is hardly surer than what one says.
        assert 0.85 < np.sqrt(heights.mean()) / u_mm.mean() < 0.95
        np.testing.assert_array_equal(covariance[:, X_FIRST, :, end], 0.0)
        np.testing.assert_array_equal(covariance[:, X_LAST, :, end], 0.0)
    np.testing.assert_array_equal(covariance[:, Y_FIRST, :, Y_LAST], 0.0)  # a nut and a bridge are cut apart


def test_strings_lie_sideways_each_for_itself() -> None:
    model, _, mean, covariance = _prior()
    _, theta = flat_neck(21)
    for end, z_mm in ((X_FIRST, model.z_mm[0]), (X_LAST, model.z_mm[-1])):
        across = covariance[:, end, :, end]
        u_mm = 0.03 * float(width_mm(model, theta, np.array([z_mm]))[0])
        np.testing.assert_allclose(across, u_mm**2 * np.eye(len(mean)), rtol=0, atol=1e-9)
        assert u_mm < 0.3 * (mean[1, end] - mean[0, end])  # surely not taken for its neighbour
