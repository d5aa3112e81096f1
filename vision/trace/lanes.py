"""Lanes between the strings: the light along each, where the model puts the frets in it, and where they show well."""

import itertools

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel
from vision.fit.neck_model import NeckModel
from vision.trace.end_drawing import CROWN_HEIGHT_MM, HALF_CROWN_MM
from vision.trace.lane_scene import LaneGeometry
from vision.trace.profile import ProfileFit
from vision.trace.strip import Strip

Array = NDArray[np.float64]

LANES = 8
_LANE_REACH = 0.96
_LEAST_SIMILARITY = 0.80
_LEAST_OPEN_SHARE = 0.25  # of a lane's columns free of strings, in a row
_MOST_SHIFT_U_MM = 0.12
_CROWN_RADIUS_MM = (HALF_CROWN_MM**2 + CROWN_HEIGHT_MM**2) / (2.0 * CROWN_HEIGHT_MM)


def lane_edges() -> Array:
    edges: Array = np.linspace(-_LANE_REACH, _LANE_REACH, LANES + 1)
    return edges


def lane_centres() -> Array:
    edges = lane_edges()
    centres: Array = 0.5 * (edges[:-1] + edges[1:])
    return centres


def lane_signals(strip: Strip, mask: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
    """Trimmed mean light per lane and row, its weight, and the share of columns left; each (LANES, rows)."""
    signals, weights, shares = [], [], []
    for low, high in itertools.pairwise(lane_edges()):
        inside = (strip.lateral >= low) & (strip.lateral < high)
        light = np.where(mask[:, inside], np.nan, strip.light[:, inside]).astype(np.float64)
        ordered = np.sort(light, axis=1)  # NaN last
        count = np.sum(~np.isnan(ordered), axis=1)
        rank = np.arange(ordered.shape[1])[None, :]
        trim = count[:, None] // 5
        keep = (rank >= trim) & (rank < count[:, None] - trim)
        total = np.where(keep, np.nan_to_num(ordered), 0.0).sum(axis=1)
        kept = keep.sum(axis=1)
        share = count / inside.sum()
        signals.append(total / np.maximum(kept, 1))
        weights.append(np.where((kept > 0) & (share >= _LEAST_OPEN_SHARE), share, 0.0))
        shares.append(share)
    return np.array(signals), np.array(weights), np.array(shares)


def combine_lanes(signals: Array, weights: Array) -> tuple[Array, Array]:
    """Mean of the inner lanes, (1, rows): enough to find the blur and a first shift for every fret."""
    inner = slice(1, -1)
    total = weights[inner].sum(axis=0)
    mean = (signals[inner] * weights[inner]).sum(axis=0) / np.maximum(total, 1e-9)
    return mean[None, :], (total > 0).astype(np.float64)[None, :]


def lane_geometry(strip: Strip, camera: CameraModel, model: NeckModel) -> LaneGeometry:
    z = model.z_mm[strip.order]
    tangent = camera.position_mm[1] / np.abs(camera.position_mm[2] - z)
    angle = np.arctan(tangent) if strip.front else tangent
    if strip.front:
        # Both flanks of a crown are seen: the anchor is its far foot, so that everything lies in front of it.
        away = highlight_place_mm(z, camera) * strip.forward
        far_foot = strip.top_row + (1.6 + away) * np.abs(strip.rows_per_mm)
        return LaneGeometry(
            far_foot,
            np.abs(strip.rows_per_mm),
            strip.depth_m,
            strip.px_per_row,
            _normalised(angle),
            _normalised(z),
            crown_mm=3.4,
            near_mm=4.5,
            beyond_mm=0.8,
        )
    return LaneGeometry(
        strip.top_row,
        strip.rows_per_mm,
        strip.depth_m,
        strip.px_per_row,
        _normalised(angle),
        _normalised(z),
        tangent=tangent,
    )


def highlight_place_mm(z_mm: Array, camera: CameraModel) -> Array:
    """Place of a reflection on crowns at z_mm, mm along the neck, up to a constant: r a / 2 at angle of sight a.

    The normal of a mirror bisects light and sight, and the light comes from afar: half of every turn of the line
    of sight is a turn of the normal, on a crown of radius r.
    """
    angle = np.arctan2(camera.position_mm[2] - z_mm, camera.position_mm[1])
    place: Array = 0.5 * _CROWN_RADIUS_MM * (angle - angle.mean())
    return place


def _normalised(values: Array) -> Array:
    """Scaled to about -1..1 with mean 0."""
    spread = float(np.ptp(values)) / 2.0
    scaled: Array = (values - values.mean()) / max(spread, 1e-9)
    return scaled


def usable_stretches(profile: ProfileFit, open_share: Array, strip: Strip) -> NDArray[np.bool_]:
    """(LANES, N) near to far: which stretches show their fret well enough."""
    row = np.clip(np.round(strip.top_row).astype(int), 0, open_share.shape[1] - 1)
    good = (profile.similarity > _LEAST_SIMILARITY) & (open_share[:, row] >= _LEAST_OPEN_SHARE)
    good &= profile.shift_u_mm < _MOST_SHIFT_U_MM
    good &= profile.contrast > profile.residual[:, None]
    return np.asarray(good)
