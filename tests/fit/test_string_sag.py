"""Strings that hang on a guitar lying level: the fit takes them for straight, and no figure feels it."""

from dataclasses import replace

import numpy as np
import pytest

from tests.fit.simulated_neck import BASS, FRONT, TREBLE, Sim, View, simulate
from tests.fit.test_joint import figures
from vision.findings.sag import string_sag_gap_mm
from vision.fit.camera import project
from vision.fit.observations import PhotoData
from vision.fit.string_lines import string_points

USUAL_HZ = (82.41, 110.0, 146.83, 196.0, 246.94, 329.63)  # lowest first, as side -1 of a right-handed neck
OCTAVE_LOWER_HZ = tuple(pitch / 2.0 for pitch in USUAL_HZ)  # hangs four times as far, as on a bass guitar


def _hanging(sim: Sim, pitches_hz: tuple[float, ...]) -> Sim:
    """The same photographs with every string seen as far below its line as it hangs."""
    z_mm = sim.model.z_mm
    sag_mm = np.array([string_sag_gap_mm(pitch, 647.7, len(z_mm)) for pitch in pitches_hz])

    def hung(photo: PhotoData) -> PhotoData:
        data = photo.strings
        straight = string_points(sim.model, sim.string_mean[data.string], np.tile([0.0, 1.0, 0.5], len(pitches_hz)))
        low = straight.copy()
        low[:, 1] -= [np.interp(z, z_mm, sag_mm[s]) for z, s in zip(straight[:, 2], data.string, strict=True)]
        moved_px = project(low, photo.camera)[0] - project(straight, photo.camera)[0]
        return replace(photo, strings=replace(data, point_px=data.point_px + moved_px))

    return replace(sim, photos=tuple(hung(photo) for photo in sim.photos))


@pytest.mark.parametrize("views", [(BASS, TREBLE, FRONT), (BASS, TREBLE), (BASS,)])
@pytest.mark.parametrize("pitches_hz", [USUAL_HZ, OCTAVE_LOWER_HZ])
def test_strings_that_hang_move_no_figure(views: tuple[View, ...], pitches_hz: tuple[float, ...]) -> None:
    sim = simulate(3, views)
    level = _hanging(sim, pitches_hz)
    moved_px = [b.strings.point_px - a.strings.point_px for a, b in zip(sim.photos, level.photos, strict=True)]
    assert max(np.abs(move).max() for move in moved_px) > 0.03
    upright, lying = figures(sim, sim.fit()), figures(level, level.fit())
    np.testing.assert_allclose(lying.relief_error_mm, upright.relief_error_mm, rtol=0, atol=1e-3)
    assert lying.twist_error_deg == pytest.approx(upright.twist_error_deg, rel=0, abs=1e-3)
    assert np.all(upright.relief_u_mm > 0.01)
