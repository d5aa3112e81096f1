"""Simulated measurements of a known neck, for the tests of the joint fit.

Everything the fit holds as a prior (widths, strings, lens, errors of tracing, errors of single frets) is drawn from
that prior in every simulation; only the neck's smooth curve is chosen.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tests.neck_models import camera_beyond_nut
from vision.fit.camera import CameraModel, project, project_with_derivatives
from vision.fit.joint import JointFit, fit_jointly
from vision.fit.neck_model import TWIST, NeckModel, WidthPrior, build_neck_model, edge_points, fret_points
from vision.fit.observations import EdgeData, EndData, FretData, PhotoData, StringData
from vision.fit.start import camera_prior
from vision.fit.string_lines import string_points
from vision.fit.string_prior import centre_offset_u_mm, string_prior, string_radii_mm

Array = NDArray[np.float64]
Draw = Callable[[Array | float, int | tuple[int, ...]], Array]
View = tuple[float, float, float, float]

FRETS, LANES, STRINGS = 22, 5, 6
LATERAL = 0.85
_HALF_WIDTH_MM = 25.0
_MOST_ACROSS = 0.25  # tangent of the sight's lean: farther across the neck an edge is its own horizon
_FOCAL_U = 0.04
_TWIST_RAD = np.radians(0.3)
# Eye from the middle of the fretted part: elevation (deg), distance, sideways (mm); focal length (px).
BASS, TREBLE = (8.0, 1250.0, -30.0, 8600.0), (8.5, 1200.0, 35.0, 8600.0)
FRONT = (60.0, 900.0, 20.0, 3000.0)


@dataclass(frozen=True)
class Sim:
    """One simulated set of photographs and what it was made from."""

    model: NeckModel
    theta: Array
    strings: Array
    photos: tuple[PhotoData, ...]
    string_mean: Array
    string_covariance: Array

    def fit(self) -> JointFit:
        return fit_jointly(
            self.model, self.photos, self.model.mean, self.string_mean, self.string_mean, self.string_covariance
        )


def _smooth_neck(model: NeckModel, theta: Array) -> Array:
    """A forward bow of 0.2 mm with a little S, and a twist of 0.3 degrees that is not quite even."""
    t = model.twist_share
    curve = -0.2 * 4.0 * t * (1.0 - t) + 0.03 * np.sin(2.0 * np.pi * t)
    theta[model.middle] = np.linalg.lstsq(model.middle_modes_mm, curve, rcond=None)[0]
    theta[model.roll] = np.linalg.lstsq(model.roll_modes, 0.0006 * np.sin(np.pi * t), rcond=None)[0]
    theta[TWIST] = _TWIST_RAD
    return theta


def _camera(view: View, lens: CameraModel) -> CameraModel:
    elevation_deg, distance_mm, sideways_mm, _ = view
    return camera_beyond_nut(
        elevation_deg, distance_mm, lens.focal_px, lens.centre_px,
        middle_mm=250.0, sideways_mm=sideways_mm, k1=lens.k1,
    )


def simulate(
    seed: int, views: tuple[View, ...] = (BASS, TREBLE, FRONT), *,
    high: tuple[int, float] | None = None, still: bool = False,
) -> Sim:
    """Photographs of the known neck. high: one fret raised (index, mm). still: no noise, no drawn errors."""
    rng = np.random.default_rng(seed)
    size = 0.0 if still else 1.0

    def drawn(u: Array | float, count: int | tuple[int, ...]) -> Array:
        return np.asarray(size * np.asarray(u) * rng.normal(0.0, 1.0, count))

    widths = WidthPrior(42.2, 1.6, 51.8, 1.8)
    model = build_neck_model(647.7, FRETS, widths)
    theta = _smooth_neck(model, model.mean + np.linalg.solve(model.prior_scale, drawn(1.0, model.unknowns)))
    if high is not None:
        theta[model.fret_error.start + high[0]] += high[1]
    string_mean, string_covariance = string_prior(model, model.mean, string_radii_mm(647.7, STRINGS))
    root = np.linalg.cholesky(string_covariance)
    lines = string_mean + (root @ drawn(1.0, string_mean.size)).reshape(string_mean.shape)
    low, front = drawn(1.0, 4), drawn(1.0, 4)  # the phone's two lenses, in units of what is believed of them
    photos = tuple(
        _photo(view, model, theta, lines, front if view[0] > 30.0 else low, drawn) for view in views
    )
    return Sim(model, theta, lines, photos, string_mean, string_covariance)


def without_strings(photo: PhotoData) -> PhotoData:
    """The photograph as if no string had been seen in it."""
    empty = StringData(np.zeros(0, dtype=np.int64), np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0))
    return replace(photo, strings=empty)


def _photo(
    view: View, model: NeckModel, theta: Array, lines: Array, lens: Array, drawn: Draw
) -> PhotoData:
    """lens (4,) : how the lens differs from the ideal one, in units of its prior; focusing changes it a little."""
    prior, prior_u = camera_prior(3024, 4032, view[3], _FOCAL_U)
    lens_error = np.zeros(10)
    refocused_u = np.concatenate([[0.004], 0.2 * prior_u[7:]]) / np.sqrt(2.0)
    lens_error[6:] = prior_u[6:] * lens + drawn(refocused_u, 4)
    truth = _camera(view, prior.stepped(lens_error))
    front = view[0] > 30.0
    nudge = np.zeros(10)
    nudge[:6] = drawn(np.array([0.003] * 3 + [1.0, 1.0, 5.0]), 6)
    start = _camera(view, prior).stepped(nudge)
    offset_u = centre_offset_u_mm(string_radii_mm(647.7, STRINGS))
    return PhotoData(
        start, prior, prior_u, _fret_data(truth, model, theta, front, drawn),
        _end_data(truth, model, theta, drawn), _edge_data(truth, model, theta, front, drawn),
        _string_data(truth, model, lines, drawn(offset_u, STRINGS), drawn), offset_u,
    )


def _fret_data(
    camera: CameraModel, model: NeckModel, theta: Array, front: bool, drawn: Draw
) -> FretData:
    fret, lane = (part.ravel() for part in np.mgrid[:FRETS, :LANES])
    lateral = (np.linspace(-0.84, 0.84, LANES))[lane]
    direction = np.array([0.0, 0.0, 1.0]) if front else np.array([0.0, 1.0, 0.0])
    errors_u = (0.4, 0.03, 0.01, 0.3, 0.015) if front else (0.10, 0.02, 0.004, 0.02, 0.005)
    offset_u, drift_u, lane_bend_u, tilt_u, bend_u = errors_u
    place = 2.0 * model.twist_share[fret] - 1.0
    arch = 1.0 - place**2
    error = drawn(offset_u, LANES)[lane] + place * drawn(drift_u, LANES)[lane]
    error += arch * drawn(lane_bend_u, LANES)[lane] + place * drawn(tilt_u, 1) + arch * drawn(bend_u, 1)
    points = fret_points(model, theta, fret, lateral)[0] + error[:, None] * direction
    lift = np.full(len(fret), 0.0 if front else 0.01)
    points[:, 1] += lift
    image, _ = project(points, camera)
    beside = fret_points(model, theta, fret, lateral + 0.02)[0] + error[:, None] * direction
    beside[:, 1] += lift
    along = project(beside, camera)[0] - image
    along /= np.hypot(*along.T)[:, None]
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    u_px = np.full(len(fret), 0.06)
    seen = image + (drawn(u_px, len(fret)))[:, None] * normal
    return FretData(fret, lane, lateral, seen, normal, u_px, lift, direction, *errors_u, LANES)


def _end_data(camera: CameraModel, model: NeckModel, theta: Array, drawn: Draw) -> EndData:
    fret, side = np.repeat(np.arange(FRETS), 2), np.tile([0, 1], FRETS)
    sign = np.where(side == 0, -1.0, 1.0)
    offset_u, drift_u, bend_u = 0.10, 0.03, 0.02
    place = 2.0 * model.twist_share[fret] - 1.0
    points, _ = fret_points(model, theta, fret, sign)
    error = drawn(offset_u, 2)[side] + place * drawn(drift_u, 2)[side]
    points[:, 0] += sign * (error + (1.0 - place**2) * drawn(bend_u, 2)[side])
    image, _, by_point = project_with_derivatives(points, camera)
    motion = by_point[:, :, 0] * sign[:, None]
    tangent = motion / np.hypot(*motion.T)[:, None]
    u_px = np.full(len(fret), 0.6)
    seen = image + drawn(u_px, len(fret))[:, None] * tangent
    return EndData(fret, side, seen, tangent, u_px, offset_u, drift_u, bend_u)


def _edge_data(camera: CameraModel, model: NeckModel, theta: Array, front: bool, drawn: Draw) -> EdgeData:
    x, y, _ = camera.position_mm
    sides = [s for s, edge in enumerate((-_HALF_WIDTH_MM, _HALF_WIDTH_MM)) if abs(x - edge) < _MOST_ACROSS * y]
    gap, side = np.tile(np.arange(FRETS - 1), len(sides)), np.repeat(sides, FRETS - 1)
    share = np.full(len(gap), 0.5 if front else 0.6)
    sign = np.where(side == 0, -1.0, 1.0)
    offset_u, drift_u, bend_u = 0.06 if front else 0.15, np.array([0.03, 0.04]), np.array([0.02, 0.03])
    before, behind = model.twist_share[gap], model.twist_share[gap + 1]
    place = 2.0 * (before + share * (behind - before)) - 1.0
    error = drawn(offset_u, 2)[side] + place * drawn(drift_u, 2)[side] + (1.0 - place**2) * drawn(bend_u, 2)[side]
    images = []
    for step in (0.0, 0.02):
        points, _ = edge_points(model, theta, gap, share + step, side)
        points[:, 0] += sign * error
        images.append(project(points, camera)[0])
    along = images[1] - images[0]
    along /= np.hypot(*along.T)[:, None]
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    u_px = np.full(len(gap), 0.15)
    seen = images[0] + drawn(u_px, len(gap))[:, None] * normal
    return EdgeData(gap, share, side, seen, normal, u_px, offset_u, drift_u, bend_u)


def _string_data(
    camera: CameraModel, model: NeckModel, lines: Array, offset_mm: Array, drawn: Draw
) -> StringData:
    string = np.repeat(np.arange(STRINGS), 3)
    share = np.tile([0.0, 1.0, 0.5], STRINGS)
    points = string_points(model, lines[string], share)
    points[:, 0] += offset_mm[string]
    image, _ = project(points, camera)
    ends = image.reshape(STRINGS, 3, 2)
    chord = (ends[:, 1] - ends[:, 0]) / np.hypot(*(ends[:, 1] - ends[:, 0]).T)[:, None]
    normal = np.repeat(np.column_stack([-chord[:, 1], chord[:, 0]]), 3, axis=0)
    u_px = np.full(len(string), 0.15)
    return StringData(string, image + drawn(u_px, len(string))[:, None] * normal, normal, u_px)
