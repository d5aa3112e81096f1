"""Ends of the frets to sub-pixel: a fret end is drawn, blurred as the photograph is, and laid over each end.

The width of the neck in the picture is what tells depth. The end of a fret is a bevel, a plane that cuts the
crown: its edge is a slanted line from foot to top seen along the neck, a bow seen from the front. A side of
a photograph is drawn from few numbers: foot of every bevel (a straight line along the neck and small
deviations), slope of the bevel, distance from the feet to the board's edge. Regions are crown, face of the
bevel, board beside it and what lies beyond; the light of each is a linear unknown of each fret. Nothing else
may change along the neck, since it could imitate ends that drift. The drawing is blurred exactly, by the
transfer function of defocus disc, lens and sharpening. Gauss-Newton with variable projection (Golub and
Pereyra 1973) and Cauchy weights.

Reported is the end at half the crown's height: there slope and foot of the bevel, which trade against each
other, matter least, and photographs along the neck and from the front agree best.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from vision.fit.camera import CameraModel, project_with_derivatives
from vision.fit.neck_model import NeckModel, fret_points, width_mm
from vision.trace.blur import Blur
from vision.trace.crown_place import crown_place_mm
from vision.trace.end_columns import COLUMNS, OUT_MM, EndColumns
from vision.trace.end_drawing import CROWN_HEIGHT_MM, STEP_V_MM, outlines, preferences, transfer
from vision.trace.end_shape import end_shape_mm
from vision.trace.strip import LightCrop, sample_patches

Array = NDArray[np.float64]

SIDE_OFFSET_U_MM = 0.1
"""What remains unknown of a side as a whole, the same for all its frets."""
SIDE_SLOPE_U_MM = 0.026
"""What remains unknown of its slope: mm over 200 mm along the neck."""
SIDE_BEND_U_MM = 0.02
"""What remains unknown of its straightness: middle of the neck against both ends."""

_WINDOW_MM = (-1.6, 1.0)  # of the samples, what is used about the foot found
_SLOPE, _SLOPE_U = 0.6, 0.1
_EDGE_MM, _EDGE_U_MM = 0.25, 0.15  # from the feet to the board's edge
_MOST_EDGE_MM, _SLOPE_RANGE = 0.7, (0.2, 0.95)
_DEVIATION_MM = 0.03  # of single ends from their line: they are filed together
_SHAPE_LEAN_U_MM = 0.01  # the shape along the neck is kept where it is known
_START_U_MM = 0.4
_START_EDGES_MM = (0.1, 0.35)
_ITERATIONS = 7
_CLIPPED = 0.93  # linear light above which the sensor may have been saturated
_CORRELATED = 4.0  # neighbouring samples share blur and interpolation
_MOST_U_MM = 0.15
_FRET_U_MM = 0.035
_MOST_OBLIQUE = 0.45
_LEAST_EXPLAINED = 0.7
_LEAST_SAMPLES = 60


@dataclass(frozen=True, eq=False)
class EndFit:
    """offset_mm, offset_u_mm : (N, 2) found minus predicted end, positive outwards; NaN u where not usable.

    offset_u_mm covers single ends; SIDE_OFFSET_U_MM and SIDE_SLOPE_U_MM are common to a side and come on top.
    bevel, edge_mm : (2,) tangent of the bevel from upright and distance of the board's edge from the feet.
    """

    offset_mm: Array
    offset_u_mm: Array
    bevel: Array
    edge_mm: Array


def find_ends(
    crop: LightCrop, camera: CameraModel, model: NeckModel, theta: Array, blur: Blur, front: bool
) -> EndFit:
    """Locate both ends of every fret near where the model has them, within about 0.6 mm."""
    parts = [_Side(crop, camera, model, theta, blur, front, side).fit() for side in (0, 1)]
    offset, sigma = (np.column_stack([part[index] for part in parts]) for index in (0, 1))
    bevel, edge = (np.array([float(part[index]) for part in parts]) for index in (2, 3))
    return EndFit(offset, sigma, bevel, edge)


class _Side:
    """Working state of one side of one photograph.

    Drawings live in mm: s outwards along the fret, v upwards in the picture (height in a view along the neck,
    place along the neck, away from the camera, in a view from the front), both from the expected end.
    """

    def __init__(
        self,
        crop: LightCrop,
        camera: CameraModel,
        model: NeckModel,
        theta: Array,
        blur: Blur,
        front: bool,
        side: int,
    ) -> None:
        self.front, self.frets, self.z_mm = front, model.frets, model.z_mm
        image, depth_m = self._frames(camera, model, theta, -1.0 if side == 0 else 1.0)
        rise = float(np.median(self.third[:, 1])) * CROWN_HEIGHT_MM / 2.0
        self.shape: Array = np.zeros(model.frets)
        self.shape_known = False
        if front:
            image = image + self._crown_place(crop, image) * self.basis[:, :, 1]
            shape = end_shape_mm(crop, camera, model, theta, side, image, self.basis)
            if shape is not None:
                self.shape, self.shape_known = shape, True
        self.low, self.high = (-1.6 - rise, 1.2 - rise) if front else (-1.0, 0.12)
        count = int(fft.next_fast_len(int((self.high - self.low + 1.4) / STEP_V_MM)))
        self.v: Array = self.low - 0.7 + np.arange(count, dtype=np.float64) * STEP_V_MM
        self.rows = np.flatnonzero((self.v >= self.low) & (self.v <= self.high))[:: 3 if front else 2]
        light = sample_patches(crop, image, self.basis, OUT_MM, self.v[self.rows])
        self.base = np.where(light < _CLIPPED, 1.0, 0.0)
        if not front:
            self.base *= self._in_sight(camera, blur.disc_px(depth_m))[:, :, None]
        self.light = light.reshape(self.frets, -1)
        blurring = transfer(self.basis, blur, depth_m, COLUMNS, count)
        self.drawn = EndColumns(front, self.third, self.v, (self.low, self.high), blurring, self.rows)
        self.penalty = preferences()

    def _frames(
        self, camera: CameraModel, model: NeckModel, theta: Array, sign: float
    ) -> tuple[Array, Array]:
        """Image of every end and depth (m). Sets basis (N, 2, 2): px per mm of (s, v), and third (N, 2): what
        1 mm along the neck (or upwards, from the front) moves in (s, v).
        """
        every = np.arange(model.frets)
        ends, _ = fret_points(model, theta, every, np.full(model.frets, sign))
        image, _, by_point = project_with_derivatives(ends, camera)
        half = width_mm(model, theta, model.z_mm) / 2.0
        taper = (half[-1] - half[0]) / (model.z_mm[-1] - model.z_mm[0])
        outwards, up = by_point[:, :, 0] * sign, by_point[:, :, 1]
        away = float(np.sign(model.z_mm.mean() - camera.position_mm[2])) or 1.0
        along = (by_point[:, :, 2] + taper * outwards) * away
        self.basis = np.stack([outwards, along if self.front else up], axis=-1)
        other = up if self.front else along
        self.third = np.linalg.solve(self.basis, other[:, :, None])[:, :, 0]
        return image, (ends @ camera.rotation.T + camera.translation_mm)[:, 2] / 1000.0

    def _crown_place(self, crop: LightCrop, image: Array) -> float:
        """How far along the neck the crowns lie from where the model has them (front view)."""
        v = np.arange(-3.6, 3.61, STEP_V_MM)
        s = np.arange(-2.4, -0.9, 0.1)
        light = sample_patches(crop, image, self.basis, s, v).mean(axis=2)
        bounds = [outlines(True, third, _SLOPE, v)[3:] for third in self.third]
        bottom, top = np.median(np.array(bounds), axis=0)
        return crown_place_mm(light, v, float(top - bottom)) - 0.5 * float(bottom + top)

    def _in_sight(self, camera: CameraModel, disc_px: Array) -> Array:
        """(N, rows) 1 where no nearer fret covers the crown and no farther one shows beside it."""
        order = np.argsort(np.abs(self.z_mm - camera.position_mm[2]))
        gap = np.abs(np.diff(self.z_mm[order]))
        behind, before = np.full(self.frets, 40.0), np.full(self.frets, 40.0)
        behind[order[:-1]], before[order[1:]] = gap, gap
        spread = 0.6 * disc_px / np.hypot(*self.basis[:, :, 1].T)
        rise, v = self.third[:, 1], self.v[self.rows][None, :]
        top = behind * rise - CROWN_HEIGHT_MM - 0.05 - spread
        seen = (v < top[:, None]) & (v > (0.1 + spread - before * rise)[:, None])
        return np.asarray(seen, dtype=np.float64)

    def _solve(self, columns: Array, light: Array, weight: Array) -> tuple[Array, Array, Array, Array]:
        """Weighted columns, normal matrices, coefficients and residuals for each fret."""
        weighted = columns * weight[:, None]
        normal: Array = weighted @ columns.transpose(0, 2, 1) + self.penalty
        coefficient: Array = np.asarray(np.linalg.solve(normal, weighted @ light[:, :, None]), np.float64)
        return weighted, normal, coefficient, light - (coefficient.transpose(0, 2, 1) @ columns)[:, 0]

    def _start(self) -> tuple[Array, float]:
        """Best line of feet and edge's distance on a coarse grid, judged by every second fret."""
        some = slice(0, None, 2)
        along = np.linspace(-1.0, 1.0, self.frets)
        leans = (0.0,) if self.shape_known else (-0.25, 0.0, 0.25)
        weight, light = self.base.reshape(self.frets, -1)[some], self.light[some]

        def costs(centre: float, lean: float, edges: tuple[float, ...]) -> list[tuple[float, float]]:
            foot = (centre + lean * along + self.shape)[some]
            ends = self.drawn.ends(_SLOPE, foot, some)
            found = []
            for edge in edges:
                columns = self.drawn.regressors(ends, self.drawn.board(foot + edge, some), foot, edge)
                residual = self._solve(columns, light, weight)[3]
                misfit = np.log(1e-7 + np.mean(weight * residual**2, axis=1))
                found.append((float(np.sum(misfit)) + 0.5 * (centre / _START_U_MM) ** 2, edge))
            return found

        centres = np.arange(-0.6, 0.61, 0.15)
        grid = [(cost, edge, c) for c in centres for cost, edge in costs(c, 0.0, _START_EDGES_MM)]
        _, edge, centre = min(grid)
        lean = min((costs(centre, a, (edge,)), a) for a in leans)[1]
        return centre + lean * along + self.shape, edge

    def fit(self) -> tuple[Array, Array, float, float]:
        """Offset (N,), u (N,) with NaN where unusable, slope of the bevel, distance of the board's edge."""
        foot, edge = self._start()
        slope = _SLOPE
        design = np.column_stack([np.ones(self.frets), np.linspace(-1.0, 1.0, self.frets)])
        line = np.linalg.lstsq(design, foot - self.shape, rcond=None)[0]
        noise, residual = np.full(self.frets, np.inf), np.zeros_like(self.light)
        covariance: Array = np.eye(self.frets)
        own: Array = np.zeros(self.frets)
        window = self._window(foot)
        for _ in range(_ITERATIONS):
            window = self._window(foot)
            weight = window / (1.0 + (residual / (3.0 * noise[:, None])) ** 2)
            columns, moved = self._columns(slope, foot, edge)
            weighted, normal, coefficient, residual = self._solve(columns, self.light, weight)
            noise = _robust_noise(residual, window)
            model = self.light - residual
            change = [((coefficient.transpose(0, 2, 1) @ other)[:, 0] - model) / step for step, other in moved]
            changes = np.stack(change, axis=1)
            imitated = np.linalg.solve(normal, weighted @ changes.transpose(0, 2, 1))
            jacobian = changes - imitated.transpose(0, 2, 1) @ columns
            scale = 1.0 / (_CORRELATED * noise**2)
            gradient = np.einsum("nip,np->ni", jacobian, weight * residual) * scale[:, None]
            hessian = (jacobian * weight[:, None]) @ jacobian.transpose(0, 2, 1) * scale[:, None, None]
            own = hessian[:, 0, 0]
            deviation = foot - self.shape - design @ line
            tension = 1.0 / _DEVIATION_MM**2 / (1.0 + (deviation / (4.0 * _DEVIATION_MM)) ** 2)
            system, right = _assemble(hessian, gradient, design, tension, deviation, edge, slope)
            if self.shape_known:
                system[-3, -3] += 1.0 / _SHAPE_LEAN_U_MM**2
                right[-3] -= line[1] / _SHAPE_LEAN_U_MM**2
            step_all = np.linalg.solve(system, right)
            covariance = np.asarray(np.linalg.inv(system), dtype=np.float64)
            foot = foot + np.clip(step_all[: self.frets], -0.2, 0.2)
            line = line + step_all[self.frets : -2]
            edge = float(np.clip(edge + np.clip(step_all[-2], -0.1, 0.1), 0.0, _MOST_EDGE_MM))
            slope = float(np.clip(slope + np.clip(step_all[-1], -0.1, 0.1), *_SLOPE_RANGE))
        variance = np.diag(covariance)[: self.frets]  # not positive where nothing like an end was followed
        sigma: Array = np.hypot(np.sqrt(np.where(variance > 0.0, variance, np.nan)), _FRET_U_MM)
        sigma[~self._usable(window, residual, own)] = np.nan
        if edge >= _MOST_EDGE_MM or slope in _SLOPE_RANGE:
            sigma[:] = np.nan  # stopped at a bound: something else than the bevels was followed
        return foot - 0.5 * slope * CROWN_HEIGHT_MM, sigma, slope, edge

    def _columns(self, slope: float, foot: Array, edge: float) -> tuple[Array, list[tuple[float, Array]]]:
        """Regressors, and steps of feet, edge and slope with the regressors after each."""
        out, leaning = 0.02, 0.05
        ends, board = self.drawn.ends(slope, foot), self.drawn.board(foot + edge)
        board_out = self.drawn.board(foot + edge + out)
        moved = [
            (out, self.drawn.regressors(self.drawn.ends(slope, foot + out), board_out, foot + out, edge)),
            (out, self.drawn.regressors(ends, board_out, foot, edge + out)),
            (leaning, self.drawn.regressors(self.drawn.ends(slope + leaning, foot), board, foot, edge)),
        ]
        return self.drawn.regressors(ends, board, foot, edge), moved

    def _window(self, foot: Array) -> Array:
        place = OUT_MM - foot[:, None]
        near = ((place > _WINDOW_MM[0]) & (place < _WINDOW_MM[1])).astype(np.float64)
        return np.asarray(near[:, None, :] * self.base, np.float64).reshape(self.frets, -1)

    def _usable(self, window: Array, residual: Array, own: Array) -> NDArray[np.bool_]:
        count = window.sum(axis=1)
        mean = np.sum(window * self.light, axis=1) / np.maximum(count, 1.0)
        power = np.sum(window * (self.light - mean[:, None]) ** 2, axis=1)
        explained = 1.0 - np.sum(window * residual**2, axis=1) / np.maximum(power, 1e-9)
        good: NDArray[np.bool_] = (count >= _LEAST_SAMPLES) & (explained > _LEAST_EXPLAINED)
        good &= own > 1.0 / _MOST_U_MM**2
        if not self.front:
            # Seen from far inside, strings stand before this side's ends, and no board shows beside them.
            good &= float(np.median(self.third[:, 0] / self.third[:, 1])) > -_MOST_OBLIQUE
        return good


def _robust_noise(residual: Array, window: Array) -> Array:
    """(N,) scatter from the median absolute deviation; 1 where hardly anything is in sight."""
    pairs = zip(residual, window, strict=True)
    spread = [np.median(np.abs(r[w > 0])) if np.count_nonzero(w) > 20 else 0.67 for r, w in pairs]
    return 1.4826 * np.array(spread, dtype=np.float64) + 2e-4


def _assemble(
    hessian: Array,
    gradient: Array,
    design: Array,
    tension: Array,
    deviation: Array,
    edge: float,
    slope: float,
) -> tuple[Array, Array]:
    """Normal equations of all feet, their line (2), the edge's distance and the slope."""
    frets = len(deviation)
    system, right = np.zeros((frets + 4, frets + 4)), np.zeros(frets + 4)
    every, line, shared = np.arange(frets), slice(frets, frets + 2), slice(frets + 2, frets + 4)
    system[every, every] = hessian[:, 0, 0] + tension
    system[:frets, shared] = hessian[:, 0, 1:]
    system[shared, :frets] = hessian[:, 0, 1:].T
    system[shared, shared] = hessian[:, 1:, 1:].sum(axis=0)
    system[shared, shared] += np.diag([1.0 / _EDGE_U_MM**2, 1.0 / _SLOPE_U**2])
    pulled = tension[:, None] * design
    system[:frets, line] = -pulled
    system[line, :frets] = -pulled.T
    system[line, line] = design.T @ pulled
    right[:frets] = gradient[:, 0] - tension * deviation
    right[line] = pulled.T @ deviation
    right[shared] = gradient[:, 1:].sum(axis=0)
    right[shared] -= [(edge - _EDGE_MM) / _EDGE_U_MM**2, (slope - _SLOPE) / _SLOPE_U**2]
    return system, right
