"""First camera of a photograph from the fret ends that were located, before anything is fitted to sub-pixel."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vision.fit.camera import CAMERA_PARAMETERS, CameraModel, project, project_with_derivatives
from vision.fit.camera_step import camera_after, step_chain
from vision.fit.neck_model import NeckModel, build_neck_model, fret_points
from vision.fit.width_prior import width_prior
from vision.photo import Photograph
from vision.photo.exif import FULL_FRAME_DIAGONAL_MM
from vision.settings import StatedNeck

Array = NDArray[np.float64]

_EQUIVALENT_MM = (24.0, 35.0, 52.0, 85.0, 130.0)  # focal lengths tried when the picture does not say its own
_USUAL_EQUIVALENT_MM = 40.0  # what it is believed to be then, to a factor of two
_FOCAL_FREE_U = 0.8  # log focal: nothing known
_LOCATED_U_PX = 3.0  # of a fret end that was located, before it is looked at closely
_LOCATED_ALIKE = 16.0  # their errors are alike along the neck: all together tell no more than so many coordinates
_CORNER_DISTORTION = 0.01  # 1 sigma of the radial term's effect at the corner
_CENTRE_SHARE = 0.004  # 1 sigma of the principal point, share of the longer side


@dataclass(frozen=True, eq=False)
class FirstCamera:
    """Camera placed by the located fret ends and its rms there (px); its prior and that one's u; the usual neck."""

    camera: CameraModel
    rms_px: float
    prior: CameraModel
    prior_u: Array
    model: NeckModel


def first_camera(photo: Photograph, fret_ends_px: Array, stated: StatedNeck) -> FirstCamera:
    """Camera of a photograph from its fret ends (N, 2, 2), for a neck of usual or stated widths.

    Raises
    ------
    ValueError : fret_ends_px has another shape than (N, 2, 2).
    """
    height, width = photo.rgb.shape[:2]
    prior, prior_u = camera_prior(width, height, photo.focal_prior_px, photo.focal_prior_relative_u)
    model = build_neck_model(stated.scale_length_mm, stated.frets, width_prior(stated, with_front=False))
    known, diagonal_px = photo.focal_prior_px is not None, float(np.hypot(width, height))
    camera, rms_px = start_camera(prior, known, diagonal_px, fret_ends_px, model, model.mean)
    return FirstCamera(camera, rms_px, prior, prior_u, model)


def camera_prior(
    width: int, height: int, focal_px: float | None, focal_relative_u: float
) -> tuple[CameraModel, Array]:
    """Prior camera (pose meaningless) and its standard uncertainties in the order of CAMERA_PARAMETERS.

    width, height : of the picture, px.  focal_px, focal_relative_u : as in vision.photo.Photograph.
    """
    diagonal = float(np.hypot(width, height))
    focal = float(focal_px) if focal_px is not None else _USUAL_EQUIVALENT_MM * diagonal / FULL_FRAME_DIAGONAL_MM
    centre = np.array([(width - 1) / 2.0, (height - 1) / 2.0])
    k1_u = _CORNER_DISTORTION / (0.5 * diagonal / focal) ** 2
    centre_u = _CENTRE_SHARE * max(width, height)
    u = np.array(
        [10.0] * 3 + [1e5] * 3 + [focal_relative_u if focal_px is not None else _FOCAL_FREE_U, k1_u, centre_u, centre_u]
    )
    return CameraModel(np.eye(3), np.zeros(3), focal, 0.0, centre), u


def start_camera(
    prior: CameraModel,
    focal_known: bool,
    diagonal_px: float,
    fret_ends_px: Array,
    model: NeckModel,
    theta: Array,
) -> tuple[CameraModel, float]:
    """Pose (and focal length when unknown) that best explains located fret ends (N, 2, 2); and its rms, px.

    Raises
    ------
    ValueError : fret_ends_px has another shape than (N, 2, 2).
    """
    if fret_ends_px.shape != (model.frets, 2, 2):
        raise ValueError(f"fret_ends_px={fret_ends_px.shape} must be ({model.frets}, 2, 2)")
    frets = np.arange(model.frets)
    points = np.concatenate(
        [fret_points(model, theta, frets, np.full(model.frets, s))[0] for s in (-1.0, 1.0)]
    )
    seen = np.concatenate([fret_ends_px[:, 0], fret_ends_px[:, 1]])
    focals = (
        [prior.focal_px]
        if focal_known
        else [mm * diagonal_px / FULL_FRAME_DIAGONAL_MM for mm in _EQUIVALENT_MM]
    )
    best, least = None, np.inf
    for focal in focals:
        for first in _planar_poses(points, seen, focal, prior.centre_px):
            camera, misfit = _refine(first, points, seen, None if focal_known else prior.focal_px)
            image, depth = project(points, camera)
            if misfit < least and camera.position_mm[1] > 0 and bool(np.all(depth > 0)):
                best, least = (camera, float(np.sqrt(np.mean((image - seen) ** 2) * 2.0))), misfit
    if best is None:
        raise ValueError("fret_ends_px cannot be seen from above the board by any camera")
    return best


def _planar_poses(points: Array, seen: Array, focal: float, centre: Array) -> list[CameraModel]:
    """Pose from the homography of the board's plane (Zhang 2000, sec. 3.1), with the tilt of the plane ignored."""
    plane = points[:, [0, 2]] / 100.0
    view = (seen - centre) / focal
    rows = []
    for (x, z), (u, v) in zip(plane, view, strict=True):
        rows.append([x, z, 1, 0, 0, 0, -u * x, -u * z, -u])
        rows.append([0, 0, 0, x, z, 1, -v * x, -v * z, -v])
    h = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    h = h * np.sign(h[2] @ np.append(plane.mean(axis=0), 1.0))
    a, b, t = h[:, 0] / 100.0, h[:, 1] / 100.0, h[:, 2]
    poses = []
    for size in (np.linalg.norm(b), np.sqrt(np.linalg.norm(a) * np.linalg.norm(b)), np.linalg.norm(a)):
        r1, r3 = a / size, b / size
        rotation = np.column_stack([r1, np.cross(r3, r1), r3])
        u, _, vt = np.linalg.svd(rotation)
        turn = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
        poses.append(CameraModel(turn, t / size, focal, 0.0, centre))
    return poses


def _refine(
    first: CameraModel, points: Array, seen: Array, usual_focal_px: float | None
) -> tuple[CameraModel, float]:
    """Best camera near the first, and its misfit. usual_focal_px : what the focal length is about, None when known.

    Without it a blurred view from the front would be explained by a lens a finger's breadth over the board.
    """
    free = 6 if usual_focal_px is None else 7
    scale = np.array([0.05, 0.05, 0.05, 20.0, 20.0, 50.0, 0.1])[:free]
    pivot_mm = points.mean(axis=0)
    per_log_focal = _LOCATED_U_PX * np.sqrt(seen.size / _LOCATED_ALIKE) / _FOCAL_FREE_U

    def step_of(x: Array) -> Array:
        return np.append(x * scale, np.zeros(CAMERA_PARAMETERS - free))

    def residual(x: Array) -> Array:
        camera = camera_after(first, step_of(x), pivot_mm)
        image, depth = project(points, camera)
        behind = np.where(depth[:, None] > 1.0, 0.0, 1e4)
        away = [] if usual_focal_px is None else [per_log_focal * np.log(camera.focal_px / usual_focal_px)]
        return np.append((image - seen + behind).ravel(), away)

    def jacobian(x: Array) -> Array:
        step = step_of(x)
        _, by_camera, _ = project_with_derivatives(points, camera_after(first, step, pivot_mm))
        rows = (by_camera @ step_chain(first, step, pivot_mm))[:, :, :free].reshape(-1, free)
        if usual_focal_px is not None:
            rows = np.vstack([rows, per_log_focal * np.eye(free)[-1]])
        return np.asarray(rows * scale)

    solved = least_squares(
        residual, np.zeros(free), jac=jacobian, loss="soft_l1", f_scale=_LOCATED_U_PX, max_nfev=75
    )
    return camera_after(first, step_of(solved.x), pivot_mm), float(solved.cost)
