"""From the fit to the records that are shown: frames become the player's words, units stay mm, px and degrees."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision import __version__
from vision.curves.from_fit import (
    CurveUnderString,
    curve_under_string,
    difference_u_mm,
    lateral_of_string,
    roll_along_neck,
)
from vision.fit.camera import CameraModel, project, view_angle_deg
from vision.fit.neck_model import board_widths_mm, fret_points, middle_of, surface_points
from vision.fit.rounds import FittedNeck
from vision.quality import (
    PhotoProblem,
    kinds_of,
    neck_flags,
    photo_flags,
    robust_rms,
    seen_frets,
    usable_share,
)
from vision.results import (
    Camera,
    Flag,
    Measured,
    PhotoKind,
    PhotoResult,
    PhotoTrace,
    Provenance,
    Side,
    SideCurve,
    Twist,
)
from vision.settings import StatedNeck

Array = NDArray[np.float64]

_LINE_POINTS = 15
# Comparison with known necks. Where two low views and a front check one another the fit's own uncertainties hold
# nearly as they are; with fewer photographs a mistaken string or side of fret ends meets no contradiction.
_WIDER_CHECKED, _WIDER = 1.1, 1.5


def refused_photo(name: str, problem: PhotoProblem) -> PhotoResult:
    flag = Flag(problem.code, problem.reason, problem.advice)
    return PhotoResult(name, "refused", None, (flag,), problem.reason, problem.advice)


def measured_neck(
    fitted: FittedNeck,
    stated: StatedNeck,
    place_of: dict[int, int],
    others: dict[int, PhotoResult],
    names: list[str],
) -> Measured:
    """Records of a fitted neck. place_of : index of a photograph -> its place among the fitted views."""
    model, fit = fitted.model, fitted.fit
    factor = _inflation(fitted)
    sides = (0, len(fit.strings) - 1)  # the outer strings: side -1, side +1 of the neck frame
    lateral = tuple(lateral_of_string(model, fit.theta, fit.strings[s]) for s in sides)
    seen = np.any([seen_frets(t) for t in fitted.traces if not t.strip.front], axis=0)
    curves = [curve_under_string(model, fit, x, seen, factor) for x in lateral]
    at = (curves[0].relief_at_fret, curves[1].relief_at_fret)
    roll = roll_along_neck(model, fit, factor)
    bass, treble = (1, 0) if stated.left_handed else (0, 1)
    sign = -1.0 if stated.left_handed else 1.0
    photos = dict(others)
    fronts = [trace.strip.front for trace in fitted.traces]
    kind = kinds_of(fit.cameras, fronts, stated.left_handed)
    for index, place in place_of.items():
        photos[index] = _photo_result(fitted, place, names[index], kind[place], lateral, stated.left_handed)
    kinds = [p.kind for p in photos.values() if p.kind is not None]
    widths_stated = stated.nut_width_mm is not None and stated.width_at_12_mm is not None
    return Measured(
        scale_length_mm=stated.scale_length_mm,
        frets=stated.frets,
        bass=_side("bass", curves[bass]),
        treble=_side("treble", curves[treble]),
        twist=Twist(
            float(sign * roll.roll_deg[-1]), float(roll.roll_u_deg[-1]), sign * roll.roll_deg, roll.roll_u_deg
        ),
        relief_difference_mm=curves[bass].relief_mm - curves[treble].relief_mm,
        relief_difference_u_mm=difference_u_mm(model, fit, (lateral[0], lateral[1]), at, factor),
        photos=tuple(photos[i] for i in sorted(photos)),
        flags=neck_flags(kinds, widths_stated),
        provenance=_provenance(fitted, stated, "front" in kinds, factor),
    )


def with_file_flags(measured: Measured, flags: Sequence[tuple[Flag, ...]]) -> Measured:
    """The result with what decoding noticed about each file (probably cropped, made smaller), in their order."""
    photos = tuple(
        replace(photo, flags=(*noticed, *photo.flags)) if photo.status == "measured" else photo
        for noticed, photo in zip(flags, measured.photos, strict=True)
    )
    return replace(measured, photos=photos)


def _side(side: Side, curve: CurveUnderString) -> SideCurve:
    return SideCurve(
        side,
        curve.relief_mm,
        curve.relief_u_mm,
        curve.relief_at_fret,
        curve.gap_mm,
        np.sqrt(np.clip(np.diag(curve.gap_cov_mm2), 0.0, None)),
        curve.deviation_mm,
        curve.deviation_u_mm,
    )


def _inflation(fitted: FittedNeck) -> float:
    """Factor on uncertainties: residuals larger than claimed widen them, smaller ones do not narrow them."""
    residual = np.concatenate(fitted.fit.fret_residual)
    fronts = sum(trace.strip.front for trace in fitted.traces)
    checked = fronts >= 1 and len(fitted.traces) - fronts >= 2
    return (_WIDER_CHECKED if checked else _WIDER) * max(1.0, robust_rms(residual))


def _photo_result(
    fitted: FittedNeck, place: int, name: str, kind: PhotoKind, lateral: tuple[Array, ...], left_handed: bool
) -> PhotoResult:
    model, fit, trace = fitted.model, fitted.fit, fitted.traces[place]
    camera = fit.cameras[place]
    frets = np.arange(model.frets)
    tops = [project(fret_points(model, fit.theta, frets, x)[0], camera)[0] for x in lateral]
    across = np.linspace(-1.0, 1.0, _LINE_POINTS)
    line = np.stack(
        [
            project(fret_points(model, fit.theta, np.full(_LINE_POINTS, k), across)[0], camera)[0]
            for k in frets
        ]
    )
    nut = project(surface_points(model, fit.theta, np.zeros(2), np.array([-1.0, 1.0])), camera)[0]
    used = seen_frets(trace)
    bass, treble = (1, 0) if left_handed else (0, 1)
    data = fitted.photos[place].strings
    strings = tuple(data.point_px[data.string == s][[0, 2, 1]] for s in np.unique(data.string))
    return PhotoResult(
        name,
        "measured",
        kind,
        photo_flags(trace, camera, model),
        camera=_camera(fitted, place, camera),
        trace=PhotoTrace(
            np.where(used[:, None], tops[bass], np.nan),
            np.where(used[:, None], tops[treble], np.nan),
            line,
            used,
            nut[[1, 0]] if left_handed else nut,
            strings,
        ),
    )


def _camera(fitted: FittedNeck, place: int, camera: CameraModel) -> Camera:
    middle = middle_of(fitted.model)
    data, residual = fitted.photos[place].frets, fitted.fit.fret_residual[place]
    return Camera(
        focal_px=camera.focal_px,
        focal_u_px=float(camera.focal_px * fitted.fit.camera_u[place][6]),
        view_angle_deg=view_angle_deg(camera, middle),
        distance_mm=float(np.linalg.norm(camera.position_mm - middle)),
        k1=camera.k1,
        residual_px=robust_rms(residual * data.u_px),
        usable_share=usable_share(fitted.traces[place]),
    )


def _provenance(fitted: FittedNeck, stated: StatedNeck, front: bool, factor: float) -> Provenance:
    widths_stated = stated.nut_width_mm is not None and stated.width_at_12_mm is not None
    source = "front photograph" if front else "stated widths" if widths_stated else "usual widths"
    residual = [
        robust_rms(r * p.frets.u_px) for r, p in zip(fitted.fit.fret_residual, fitted.photos, strict=True)
    ]
    width_mm, width_u_mm = board_widths_mm(fitted.model, fitted.fit.theta, fitted.fit.covariance)
    return Provenance(
        version=__version__,
        span_frets=(1, stated.frets),
        depth_from=source,
        residual_px=float(np.max(residual)),
        string_sag_mm=0.0,
        nut_width_mm=float(width_mm[0]),
        nut_width_u_mm=float(factor * width_u_mm[0]),
        width_at_12_mm=float(width_mm[1]),
        width_at_12_u_mm=float(factor * width_u_mm[1]),
    )
