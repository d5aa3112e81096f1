"""A bend that tracing still finds in the last round widens what is believed of a photograph's own bend."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.fit.simulated_neck import BASS, simulate
from vision.fit.observations import FretData
from vision.trace.photo_trace import PhotoMeasurement, with_bend_left

Array = NDArray[np.float64]

_FRETS, _LANES = 22, 8
_ALONG = np.linspace(-1.0, 1.0, _FRETS)


def _frets() -> FretData:
    return simulate(1, (BASS,)).photos[0].frets


def _widened(shift_mm: Array, *, front: bool = False, reverse: bool = False) -> float:
    """bend_u_mm after lanes moved by shift_mm (N,), in the order of the frets, with an outlying lane."""
    order = np.arange(_FRETS)[::-1] if reverse else np.arange(_FRETS)
    lanes = np.tile(shift_mm[order], (_LANES, 1))
    lanes[0] += 0.5 * _ALONG**2
    trace = SimpleNamespace(
        frets=_frets(), strip=SimpleNamespace(front=front, order=order), profile=SimpleNamespace(shift_mm=lanes)
    )
    return with_bend_left(cast(PhotoMeasurement, trace)).bend_u_mm


@pytest.mark.parametrize("bend_mm", [-0.04, 0.02])
@pytest.mark.parametrize("reverse", [False, True])
def test_a_bend_adds_in_quadrature(bend_mm: float, reverse: bool) -> None:
    shift = 0.03 + 0.05 * _ALONG + bend_mm * _ALONG**2
    expected = float(np.hypot(_frets().bend_u_mm, bend_mm))
    assert _widened(shift, reverse=reverse) == pytest.approx(expected, rel=0, abs=1e-9)


def test_what_does_not_bend_leaves_it_alone() -> None:
    before = _frets().bend_u_mm
    assert _widened(0.1 + 0.2 * _ALONG) == pytest.approx(before, rel=0, abs=1e-9)
    assert _widened(0.2 * _ALONG**2, front=True) == before  # highlights wander there: judged by its own prior
