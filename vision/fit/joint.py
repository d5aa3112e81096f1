"""Cameras and neck fitted together: one robust least-squares problem for all photographs of a neck.

Unknowns: the neck (vision.fit.neck_model), the strings as straight lines in space, and per photograph a
camera and a few constants of its tracing (lanes, sides of fret ends, strings: see vision.fit.observations). Data: fret
tops, fret ends and string lines in every photograph, each with its own uncertainty, and the priors. All
data, the errors of single frets and the constants of ends and strings carry a Student-t loss (Lange, Little and
Taylor, JASA 84, 1989) so that a bad stretch or a high fret does not bend the neck; other priors are Gaussian.
Solver: vision.fit.solve with exact Jacobian. Covariance: inverse of the weighted
normal matrix at the solution (JCGM 102, 6.2); what residuals show beyond it is vision.assemble's.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from vision.fit.camera import CAMERA_PARAMETERS, CameraModel, project_with_derivatives
from vision.fit.camera_step import camera_after, step_chain
from vision.fit.left_out import misfit_when_left_out
from vision.fit.lenses import lens_pairs, same_lens_u, step_from_prior
from vision.fit.neck_model import NeckModel, edge_place, edge_points, fret_points, middle_of
from vision.fit.observations import (
    SIDE_UNKNOWNS,
    STRING_UNKNOWNS,
    EdgeData,
    EndData,
    FretData,
    PhotoData,
    StringData,
)
from vision.fit.solve import minimise
from vision.fit.string_lines import share_along, string_points

Array = NDArray[np.float64]

_STUDENT_FREEDOM = 5.0
_LEAST_GAIN = 1e-9  # of the cost, by a step: less is the last one

@dataclass(frozen=True, eq=False)
class JointFit:
    """Solution and its covariance over (theta, strings) in the order of the model."""

    theta: Array
    strings: Array  # (S, 4)
    cameras: tuple[CameraModel, ...]
    camera_u: tuple[Array, ...]  # of the steps of vision.fit.camera_step
    covariance: Array  # (unknowns of the neck + 4 S)^2
    fret_residual: tuple[Array, ...]  # in units of its u, per photograph
    end_residual: tuple[Array, ...]
    string_residual: tuple[Array, ...]
    string_misfit: tuple[Array, ...]  # (S,) of each with all other data (vision.fit.left_out), NaN where not seen
    edge_offset_mm: tuple[Array, ...]  # (2,) constant error of either edge of the board
    cost: float
    converged: bool


@dataclass(eq=False)
class _Problem:
    model: NeckModel
    photos: tuple[PhotoData, ...]
    strings0: Array
    string_mean: Array
    string_covariance: Array
    starts: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        at = self.model.unknowns + self.strings0.size
        for photo in self.photos:
            self.starts.append(at)
            at += photo.unknowns
        self.size = at
        self.prior_mean, self.prior_scale, self.prior_student = self._believed()

    def evaluate(self, x: Array) -> tuple[Array, Array, Array]:
        """Residuals (m,) in units of u, Jacobian (m, size), and which residuals may be outliers."""
        priors = self.prior_scale @ (x - self.prior_mean), self.prior_scale, self.prior_student
        blocks = [priors, self._same_lens(x)]
        for photo, start in zip(self.photos, self.starts, strict=True):
            blocks += self._photo(x, photo, start)
        residual = np.concatenate([b[0] for b in blocks])
        return residual, np.vstack([b[1] for b in blocks]), np.concatenate([b[2] for b in blocks])

    def _same_lens(self, x: Array) -> tuple[Array, Array, Array]:
        """Differences between the lenses of low views that one phone may have taken with one lens."""
        residual, jacobian = [], []
        for first, second in lens_pairs(self.photos):
            one, two = self.photos[first], self.photos[second]
            unit = same_lens_u(one.camera_u)
            apart = step_from_prior(one.camera, two.camera)[6:]
            at, to = self.starts[first] + 6, self.starts[second] + 6
            residual.append((apart + x[at : at + 4] - x[to : to + 4]) / unit)
            rows = np.zeros((4, self.size))
            rows[:, at : at + 4] = np.diag(1.0 / unit)
            rows[:, to : to + 4] = -np.diag(1.0 / unit)
            jacobian.append(rows)
        if not residual:
            return np.zeros(0), np.zeros((0, self.size)), np.zeros(0)
        return np.concatenate(residual), np.vstack(jacobian), np.ones(4 * len(residual))

    def _believed(self) -> tuple[Array, Array, Array]:
        """Prior mean (size,), scale (size, size) that makes deviations from it standard, and which may be outliers."""
        m = self.model
        mean = [m.mean, self.string_mean.ravel()]
        blocks = [m.prior_scale, np.linalg.cholesky(np.linalg.inv(self.string_covariance)).T]
        for photo in self.photos:
            gap = step_from_prior(photo.camera, photo.camera_prior)
            mean.append(np.concatenate([-gap, np.zeros(photo.unknowns - CAMERA_PARAMETERS)]))
            ends = np.repeat([photo.ends.offset_u_mm, photo.ends.drift_u_mm, photo.ends.bend_u_mm], 2)
            board = photo.edges
            edges = np.concatenate([np.full(2, board.offset_u_mm), board.drift_u_mm, board.bend_u_mm])
            offsets = [photo.frets.unknowns_u_mm, ends, edges, photo.string_offset_u_mm]
            blocks.append(np.diag(1.0 / np.concatenate([photo.camera_u, *offsets])))
        student = np.zeros(self.size)
        student[m.fret_error] = student[m.fret_roll] = 1.0
        for photo, start in zip(self.photos, self.starts, strict=True):
            # A side of ends or a string that was mistaken for another edge is an outlier as a whole.
            student[start + CAMERA_PARAMETERS + photo.frets.unknowns : start + photo.unknowns] = 1.0
        return np.concatenate(mean), block_diag(*blocks), student

    def camera(self, x: Array, photo: PhotoData, start: int) -> CameraModel:
        return camera_after(photo.camera, x[start : start + CAMERA_PARAMETERS], middle_of(self.model))

    def _photo(self, x: Array, photo: PhotoData, start: int) -> list[tuple[Array, Array, Array]]:
        m = self.model
        theta = x[: m.unknowns]
        own = slice(start, start + CAMERA_PARAMETERS)
        camera = self.camera(x, photo, start)
        chain = step_chain(photo.camera, x[own], middle_of(m))  # of all parts: derivatives are taken at that camera
        parts = [
            self._frets(x, theta, camera, photo, start),
            self._ends(x, theta, camera, photo, start),
            self._edges(x, theta, camera, photo, start),
            self._strings(x, theta, camera, photo, start),
        ]
        for _, jacobian in parts:
            jacobian[:, own] = jacobian[:, own] @ chain
        return [(residual, jacobian, np.ones(len(residual))) for residual, jacobian in parts]

    def _misfit(
        self,
        points: Array,
        camera: CameraModel,
        across: Array,
        data: FretData | EndData | EdgeData | StringData,
        start: int,
    ) -> tuple[Array, Array, Array]:
        """Residuals (n,) along the unit vectors `across`, Jacobian with the camera's part filled in, d residual
        / d point (n, 3)."""
        image, by_camera, by_point = project_with_derivatives(points, camera)
        weight = across / data.u_px[:, None]
        residual = np.sum(weight * (image - data.point_px), axis=1)
        jacobian = np.zeros((len(residual), self.size))
        jacobian[:, start : start + CAMERA_PARAMETERS] = np.einsum("ni,nij->nj", weight, by_camera)
        return residual, jacobian, np.einsum("ni,nij->nj", weight, by_point)

    def _frets(
        self, x: Array, theta: Array, camera: CameraModel, photo: PhotoData, start: int
    ) -> tuple[Array, Array]:
        data, m = photo.frets, self.model
        first = start + CAMERA_PARAMETERS
        points, by_neck = fret_points(m, theta, data.fret, data.lateral)
        place = 2.0 * m.twist_share[data.fret] - 1.0
        tracing = x[first : first + data.unknowns]
        arch = 1.0 - place**2
        drift = tracing[data.lanes + data.lane] + tracing[-2]
        bend = tracing[2 * data.lanes + data.lane] + tracing[-1]
        shift = tracing[data.lane] + place * drift + arch * bend
        points = points + shift[:, None] * data.direction_mm
        points[:, 1] += data.lift_mm
        residual, jacobian, to_point = self._misfit(points, camera, data.normal, data, start)
        jacobian[:, : m.unknowns] = np.einsum("nj,njk->nk", to_point, by_neck)
        every, along = np.arange(len(residual)), to_point @ data.direction_mm
        jacobian[every, first + data.lane] = along
        jacobian[every, first + data.lanes + data.lane] = along * place
        jacobian[every, first + 2 * data.lanes + data.lane] = along * arch
        jacobian[:, first + data.unknowns - 2] = along * place
        jacobian[:, first + data.unknowns - 1] = along * arch
        return residual, jacobian

    def _ends(
        self, x: Array, theta: Array, camera: CameraModel, photo: PhotoData, start: int
    ) -> tuple[Array, Array]:
        data, m = photo.ends, self.model
        first = start + CAMERA_PARAMETERS + photo.frets.unknowns
        points, by_neck = fret_points(m, theta, data.fret, np.where(data.side == 0, -1.0, 1.0))
        place = 2.0 * m.twist_share[data.fret] - 1.0
        return self._sides(x, points, by_neck, place, camera, data.tangent, data, start, first)

    def _edges(
        self, x: Array, theta: Array, camera: CameraModel, photo: PhotoData, start: int
    ) -> tuple[Array, Array]:
        data, m = photo.edges, self.model
        first = start + CAMERA_PARAMETERS + photo.frets.unknowns + SIDE_UNKNOWNS
        points, by_neck = edge_points(m, theta, data.gap, data.share, data.side)
        place = edge_place(m, data.gap, data.share)
        return self._sides(x, points, by_neck, place, camera, data.normal, data, start, first)

    def _sides(
        self,
        x: Array,
        points: Array,
        by_neck: Array,
        place: Array,
        camera: CameraModel,
        across: Array,
        data: EndData | EdgeData,
        start: int,
        first: int,
    ) -> tuple[Array, Array]:
        """Points beside the neck, moved by the outward error of their side: constant, drift and bend along it."""
        side, sign, arch = data.side, np.where(data.side == 0, -1.0, 1.0), 1.0 - place**2
        points[:, 0] += sign * (x[first + side] + place * x[first + 2 + side] + arch * x[first + 4 + side])
        residual, jacobian, to_point = self._misfit(points, camera, across, data, start)
        jacobian[:, : self.model.unknowns] = np.einsum("nj,njk->nk", to_point, by_neck)
        every, outwards = np.arange(len(residual)), to_point[:, 0] * sign
        jacobian[every, first + side] = outwards
        jacobian[every, first + 2 + side] = outwards * place
        jacobian[every, first + 4 + side] = outwards * arch
        return residual, jacobian

    def _strings(
        self, x: Array, theta: Array, camera: CameraModel, photo: PhotoData, start: int
    ) -> tuple[Array, Array]:
        data, m = photo.strings, self.model
        lines = x[m.unknowns : m.unknowns + self.strings0.size].reshape(-1, STRING_UNKNOWNS)
        share = share_along(lines[data.string], m, camera, data.point_px)
        points = string_points(m, lines[data.string], share)
        first = start + CAMERA_PARAMETERS + photo.frets.unknowns + 2 * SIDE_UNKNOWNS
        points[:, 0] += x[first : first + len(photo.string_offset_u_mm)][data.string]
        residual, jacobian, to_point = self._misfit(points, camera, data.normal, data, start)
        column = m.unknowns + STRING_UNKNOWNS * data.string
        every = np.arange(len(residual))
        jacobian[every, first + data.string] = to_point[:, 0]
        jacobian[every, column] = to_point[:, 0] * (1 - share)
        jacobian[every, column + 1] = to_point[:, 0] * share
        jacobian[every, column + 2] = to_point[:, 1] * (1 - share)
        jacobian[every, column + 3] = to_point[:, 1] * share
        return residual, jacobian


def fit_jointly(
    model: NeckModel,
    photos: tuple[PhotoData, ...],
    theta: Array,
    strings: Array,
    string_mean: Array,
    string_covariance: Array,
    *,
    max_evaluations: int = 400,
) -> JointFit:
    """Fit neck, strings and cameras. theta (unknowns,), strings (S, 4) are the start; string_covariance (4 S, 4 S).

    max_evaluations : some 20 are usual; where a poor view leaves a long flat valley 140 have been needed.
    """
    problem = _Problem(model, photos, strings, string_mean, string_covariance)
    start = np.zeros(problem.size)
    start[: model.unknowns] = theta
    start[model.unknowns : model.unknowns + strings.size] = strings.ravel()
    student = problem.evaluate(start)[2]
    result = minimise(
        lambda x: problem.evaluate(x)[:2],
        start,
        _student_loss(student),
        _scales(problem),
        most_evaluations=max_evaluations,
        least_gain=_LEAST_GAIN,
    )
    return _collect(problem, result.x, student, result.cost, result.converged)


def _scales(problem: _Problem) -> Array:
    scale = np.concatenate([problem.model.sd, np.sqrt(np.diag(problem.string_covariance))])
    for photo in problem.photos:
        camera = np.minimum(photo.camera_u, np.array([0.01] * 3 + [5.0, 5.0, 30.0, 0.05, 0.02, 20.0, 20.0]))
        scale = np.concatenate([scale, camera, np.full(photo.unknowns - CAMERA_PARAMETERS, 0.1)])
    return scale


def _student_loss(student: Array) -> Callable[[Array], Array]:
    """rho and rho' of (nu + 1) log(1 + z / nu) where student is 1, of z elsewhere; z the squared residual."""
    nu, heavy = _STUDENT_FREEDOM, student > 0

    def loss(z: Array) -> Array:
        rho = np.stack([z, np.ones_like(z)])
        s = z[heavy]
        rho[0, heavy] = (nu + 1.0) * np.log1p(s / nu)
        rho[1, heavy] = (nu + 1.0) / (nu + s)
        return rho

    return loss


def _collect(problem: _Problem, x: Array, student: Array, cost: float, converged: bool) -> JointFit:
    residual, jacobian, _ = problem.evaluate(x)
    weight = _student_loss(student)(residual**2)[1]
    normal = jacobian.T @ (jacobian * weight[:, None])
    covariance = np.linalg.inv(normal)
    m = problem.model
    neck = m.unknowns + problem.strings0.size
    at = problem.size + 4 * len(lens_pairs(problem.photos))
    frets, ends, strings, misfit, cameras, camera_u, edge_offset = [], [], [], [], [], [], []
    for photo, start in zip(problem.photos, problem.starts, strict=True):
        n, e, s = len(photo.frets.fret), len(photo.ends.fret), len(photo.strings.string)
        b = len(photo.edges.gap)
        frets.append(residual[at : at + n])
        ends.append(residual[at + n : at + n + e])
        at += n + e + b
        strings.append(residual[at : at + s])
        edges = start + CAMERA_PARAMETERS + photo.frets.unknowns + SIDE_UNKNOWNS
        misfit.append(_string_misfit(photo, at, edges + SIDE_UNKNOWNS, residual, jacobian, weight, covariance))
        at += s
        cameras.append(problem.camera(x, photo, start))
        edge_offset.append(x[edges : edges + 2])
        camera_u.append(np.sqrt(np.diag(covariance)[start : start + CAMERA_PARAMETERS]))
    return JointFit(
        theta=x[: m.unknowns],
        strings=x[m.unknowns : neck].reshape(-1, STRING_UNKNOWNS),
        cameras=tuple(cameras),
        camera_u=tuple(camera_u),
        covariance=covariance[:neck, :neck],
        fret_residual=tuple(frets),
        end_residual=tuple(ends),
        string_residual=tuple(strings),
        string_misfit=tuple(misfit),
        edge_offset_mm=tuple(edge_offset),
        cost=cost,
        converged=converged,
    )


def _string_misfit(
    photo: PhotoData, at: int, own: int, residual: Array, jacobian: Array, weight: Array, covariance: Array
) -> Array:
    """(S,) at : row of the first point on a string.  own : column of the first string's error, row of its prior."""
    misfit = np.full(len(photo.string_offset_u_mm), np.nan)
    for string in np.unique(photo.strings.string):
        rows, column = at + np.flatnonzero(photo.strings.string == string), own + string
        misfit[string] = misfit_when_left_out(
            jacobian[rows],
            residual[rows],
            weight[rows],
            covariance,
            column,
            float(photo.string_offset_u_mm[string]),
            float(weight[column]),
        )
    return misfit
