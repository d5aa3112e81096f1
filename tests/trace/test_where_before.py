"""Tops found in an earlier pass as a start for the next one, whatever model and camera have become since."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from tests.fit.simulated_neck import FRONT, simulate
from vision.fit.camera import project_with_derivatives
from vision.fit.neck_model import fret_points
from vision.trace.lanes import LANES, lane_centres
from vision.trace.photo_trace import shifts_as_before

_ALONG_MM = np.array([0.0, 0.0, 1.0])
_LOST = (0, 1, 2)


@pytest.mark.parametrize("from_the_nut", [True, False])
def test_the_start_is_where_the_picture_had_them_and_goes_on_to_lost_frets(from_the_nut: bool) -> None:
    sim = simulate(1, (FRONT,))
    camera, model, theta = sim.photos[0].camera, sim.model, sim.model.mean
    fret, lane = (part.ravel() for part in np.mgrid[len(_LOST) : model.frets, 0:LANES])
    lateral = lane_centres()[lane]
    points, _ = fret_points(model, theta, fret, lateral)
    image, _, by_point = project_with_derivatives(points, camera)
    expected_mm = 0.4 * (2.0 * model.twist_share - 1.0) - 0.1  # towards the body, along the neck
    motion = by_point @ _ALONG_MM
    beside, _, _ = project_with_derivatives(fret_points(model, theta, fret, lateral + 0.05)[0], camera)
    along = (beside - image) / np.hypot(*(beside - image).T)[:, None]
    data: Any = SimpleNamespace(
        fret=fret,
        lane=lane,
        lateral=lateral,
        point_px=image + expected_mm[fret, None] * motion,
        normal=np.column_stack([-along[:, 1], along[:, 0]]),
    )
    order = np.arange(model.frets)[:: 1 if from_the_nut else -1]
    sign = 1.0 if from_the_nut else -1.0  # shifts count from near to far
    strip: Any = SimpleNamespace(direction_mm=_ALONG_MM, order=order, forward=sign)
    shift_mm = shifts_as_before(data, strip, camera, model, theta)
    assert shift_mm.shape == (LANES, model.frets)
    np.testing.assert_allclose(shift_mm, np.tile(sign * expected_mm[order], (LANES, 1)), rtol=0, atol=1e-9)
