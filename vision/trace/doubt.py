"""What is believed of a photograph once a first fit has placed the cameras: tracing's data, with more doubt.

The first fit starts far away: there the data must hold cameras and neck firmly. Later fits take the same data with
wider uncertainties: for what tracing left unexplained here, and for what it was found to hide in photographs of necks
with known curves.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, view_angle_deg
from vision.fit.neck_model import NeckModel, middle_of
from vision.fit.observations import EndData, FretData, StringData
from vision.trace.lanes import lane_centres
from vision.trace.photo_trace import PhotoMeasurement

Array = NDArray[np.float64]

_LEAST_FRETS, _LEAST_LANES = 9, 5  # to judge drifts by
# From the front what is seen of a crown may lie anywhere down to its foot, and so, seen aslant, beside its top: bends
# of all lanes and of single ones from 45 degrees, as the cotangent from elsewhere. Rms in 40 photographs of known
# necks: 0.12 mm below 55 degrees, 0.025 mm above.
_SLANTED_BEND_U_MM, _SLANTED_LANE_BEND_U_MM = 0.1, 0.02
_FRONT_U_PX = 0.2  # of a mark on a crown seen from the front: no two crowns mirror the same
_END_DRIFT_U_MM = 0.06  # of a side of fret ends: bevels mirror other things along the neck
# With a blur of that much of height (one standard deviation) a top is doubted twice as much: crown and board merge. So
# is the farthest once more, behind which stands something else: rms of tops in 26 photographs of known necks 0.02 mm,
# 0.05 mm of the three next to the farthest and 0.08 mm there, far more than claimed where they are blurred.
_MERGING_BLUR_MM = 0.48
_STRING_U_PX = 0.15  # shadows beside strings part from them along the neck, drawn or not


def with_doubt_left(trace: PhotoMeasurement, camera: CameraModel, model: NeckModel) -> PhotoMeasurement:
    """The photograph's data as fits after the first take them. camera, model : as traced with."""
    frets = _of_mirrors(trace.frets, camera, model) if trace.strip.front else _unexplained(trace)
    ends, strings = _of_drifting_ends(trace.ends), _of_drifting_strings(trace.string_data)
    return replace(trace, frets=frets, ends=ends, string_data=strings)


def _of_mirrors(data: FretData, camera: CameraModel, model: NeckModel) -> FretData:
    cotangent = 1.0 / float(np.tan(np.deg2rad(view_angle_deg(camera, middle_of(model)))))
    return replace(
        data,
        u_px=np.hypot(data.u_px, _FRONT_U_PX),
        bend_u_mm=data.bend_u_mm + _SLANTED_BEND_U_MM * cotangent,
        lane_bend_u_mm=data.lane_bend_u_mm + _SLANTED_LANE_BEND_U_MM * cotangent,
    )


def _unexplained(trace: PhotoMeasurement) -> FretData:
    """Fret tops of a low view, believed no better than tracing agrees with the fitted camera and with itself.

    By then a common bend of the shifts should have vanished; where it has not, other cues contradict this photograph's.
    And what turns the neck turns all lanes in proportion to their place across it; what is left over is tracing's.
    """
    shift = trace.profile.shift_mm[:, np.argsort(trace.strip.order)]
    along = np.linspace(-1.0, 1.0, shift.shape[1])
    left = float(np.polynomial.polynomial.polyfit(along, np.median(shift, axis=0), 2)[2])
    bend_u_mm = float(np.hypot(trace.frets.bend_u_mm, left))
    drift, bend = _scatter_of_lanes(shift, trace.usable.T, along)
    return replace(
        trace.frets,
        u_px=trace.frets.u_px * _merging(trace)[trace.frets.fret],
        bend_u_mm=bend_u_mm,
        drift_u_mm=float(np.hypot(trace.frets.drift_u_mm, drift)),
        lane_bend_u_mm=float(np.hypot(trace.frets.lane_bend_u_mm, bend)),
    )


def _merging(trace: PhotoMeasurement) -> Array:
    """(N,) factors on the uncertainty of the frets' tops for their blur."""
    strip = trace.strip
    blur_mm = trace.blur.spread_mm(strip.top_row, strip.rows_per_mm, strip.depth_m, strip.px_per_row)
    factor = 1.0 + (blur_mm / _MERGING_BLUR_MM) ** 2
    factor[-1] *= factor[-1]
    return np.asarray(factor[np.argsort(strip.order)])


def _scatter_of_lanes(shift: Array, usable: NDArray[np.bool_], along: Array) -> tuple[float, float]:
    """Scatter (mm) of the lanes' drifts and bends about what is in proportion to their place across the neck."""
    lanes, forms = [], []
    for lane, own, seen in zip(lane_centres(), shift, usable, strict=True):
        if np.count_nonzero(seen) >= _LEAST_FRETS:
            lanes.append(lane)
            forms.append(np.polyfit(along[seen], own[seen], 2)[:2])
    if len(lanes) < _LEAST_LANES:
        return 0.0, 0.0
    design = np.vander(lanes, 2)
    left = np.array(forms) - design @ np.linalg.lstsq(design, np.array(forms), rcond=None)[0]
    bend, drift = np.sqrt(np.sum(left**2, axis=0) / (len(lanes) - 2))
    return float(drift), float(bend)


def _of_drifting_ends(data: EndData) -> EndData:
    return replace(data, drift_u_mm=float(np.hypot(data.drift_u_mm, _END_DRIFT_U_MM)))


def _of_drifting_strings(data: StringData) -> StringData:
    return replace(data, u_px=np.hypot(data.u_px, _STRING_U_PX))
