"""The neck as a model: where every fret's top is, as a function of a short vector of unknowns.

Point on fret k at lateral fraction x (-1 at the bass-side end of the fret, +1 at the treble-side end):

    X = x w(Z_k) / 2 ,   w linear in Z
    Y = m_k + X r_k + e_k + X q_k - c(Z_k) X^2 / 2 ,   Z = Z_k

m: smooth curve of the neck's middle, zero at fret 1 and the last fret (the chord is the reference, so its height
and tilt are not unknowns but part of every camera's pose); r: smooth roll (rad), zero at fret 1; e, q: height
and roll of the single fret; c: curvature of a round board, linear in Z for a compound radius. Last come two numbers
that say how much farther out than usual the board's edge lies beside the fret ends of either side.

The smooth curves are a Gaussian process (Rasmussen and Williams, ch. 2) conditioned on its end points and
written in its principal modes: a long part for bow, S and twist, a short one for a rise or a hump.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from vision.fit.frets import fret_positions_mm

Array = NDArray[np.float64]

WIDTH_NUT, WIDTH_12, CURVATURE, CURVATURE_SLOPE, TWIST = range(5)
_FIRST_MODE = 5

_BOW_MM, _BOW_LENGTH_MM = 1.2, 380.0
_LOCAL_MM, _LOCAL_LENGTH_MM = 0.03, 120.0
_ROLL_RAD = 0.0035
_TWIST_RAD = 0.02
_SMALLEST_MODE_MM = 4e-4
FRET_ERROR_MM = 0.008
EDGE_OUT_MM, EDGE_DOWN_MM = 0.5, 1.1
"""Where the board's edge usually is from the end of a crown (usual bevel, usual crown): outwards and below."""
_EDGE_U_MM = 0.25
FRET_ROLL_RAD = 0.00025
_CURVATURE_MEAN, _CURVATURE_SD = 1.0 / 260.0, 0.0012
_CURVATURE_SLOPE_SD = 0.0008


@dataclass(frozen=True)
class WidthPrior:
    """What is believed of the board's widths, from edge to edge, before the photographs are read (mm, 1 sigma)."""

    nut_mm: float
    nut_u_mm: float
    at_12_mm: float
    at_12_u_mm: float


@dataclass(frozen=True, eq=False)
class NeckModel:
    """Fixed parts of the model: positions, modes and priors. mean, sd : (unknowns,) of the prior."""

    scale_length_mm: float
    z_mm: Array
    middle_modes_mm: Array  # (N, M)
    roll_modes: Array  # (N, M2) rad
    mean: Array
    sd: Array

    @property
    def frets(self) -> int:
        return len(self.z_mm)

    @cached_property
    def middle(self) -> slice:
        return slice(_FIRST_MODE, _FIRST_MODE + self.middle_modes_mm.shape[1])

    @cached_property
    def roll(self) -> slice:
        return slice(self.middle.stop, self.middle.stop + self.roll_modes.shape[1])

    @cached_property
    def fret_error(self) -> slice:
        return slice(self.roll.stop, self.roll.stop + self.frets)

    @cached_property
    def fret_roll(self) -> slice:
        return slice(self.fret_error.stop, self.fret_error.stop + self.frets)

    @cached_property
    def edge_out(self) -> slice:
        return slice(self.fret_roll.stop, self.fret_roll.stop + 2)

    @cached_property
    def unknowns(self) -> int:
        return int(self.edge_out.stop)

    @cached_property
    def to_board(self) -> Array:
        """(unknowns, unknowns) matrix that puts widths of the board, from edge to edge, in the place of those between
        fret ends (but for the usual distance of the edges)."""
        matrix = np.eye(self.unknowns)
        matrix[[WIDTH_NUT, WIDTH_12], self.edge_out] = 1.0
        return matrix

    @cached_property
    def prior_scale(self) -> Array:
        """(unknowns, unknowns) matrix that makes deviations from the mean standard: believed is the board's width."""
        scale: Array = self.to_board / self.sd[:, None]
        return scale

    @cached_property
    def twist_share(self) -> Array:
        """(N,) 0 at fret 1 to 1 at the last fret."""
        share: Array = (self.z_mm - self.z_mm[0]) / (self.z_mm[-1] - self.z_mm[0])
        return share


def build_neck_model(scale_length_mm: float, frets: int, widths: WidthPrior) -> NeckModel:
    """Set up positions, modes and priors of a neck."""
    z = fret_positions_mm(scale_length_mm, frets)
    middle = _bridge_modes(z, _BOW_MM, _LOCAL_MM)
    roll = _bridge_modes(z, _ROLL_RAD, _ROLL_RAD / 10.0, smallest=_SMALLEST_MODE_MM / 20.0)
    count = _FIRST_MODE + middle.shape[1] + roll.shape[1] + 2 * frets + 2
    mean, sd = np.zeros(count), np.ones(count)
    inside_mm = 2.0 * EDGE_OUT_MM
    mean[:_FIRST_MODE] = widths.nut_mm - inside_mm, widths.at_12_mm - inside_mm, _CURVATURE_MEAN, 0.0, 0.0
    sd[:_FIRST_MODE] = widths.nut_u_mm, widths.at_12_u_mm, _CURVATURE_SD, _CURVATURE_SLOPE_SD, _TWIST_RAD
    model = NeckModel(scale_length_mm, z, middle, roll, mean, sd)
    sd[model.fret_error], sd[model.fret_roll], sd[model.edge_out] = FRET_ERROR_MM, FRET_ROLL_RAD, _EDGE_U_MM
    return model


def board_widths_mm(model: NeckModel, theta: Array, covariance: Array) -> tuple[Array, Array]:
    """Widths of the board, from edge to edge, at the nut and at fret 12 (2,), and their uncertainty (2,), mm.

    covariance : of theta, or of more unknowns that begin with it.
    """
    jacobian = model.to_board[[WIDTH_NUT, WIDTH_12]]
    own = covariance[: model.unknowns, : model.unknowns]
    u: Array = np.sqrt(np.einsum("ij,jk,ik->i", jacobian, own, jacobian))
    return jacobian @ theta + 2.0 * EDGE_OUT_MM, u


def middle_of(model: NeckModel) -> Array:
    """(3,) mm: half way from fret 1 to the last, on the chord of the middle."""
    return np.array([0.0, 0.0, 0.5 * (model.z_mm[0] + model.z_mm[-1])])


def width_mm(model: NeckModel, theta: Array, z_mm: Array) -> Array:
    """Width between fret ends at distances from the nut."""
    share = 2.0 * z_mm / model.scale_length_mm
    width: Array = theta[WIDTH_NUT] * (1.0 - share) + theta[WIDTH_12] * share
    return width


def fret_points(
    model: NeckModel, theta: Array, fret: NDArray[np.int64], lateral: Array
) -> tuple[Array, Array]:
    """Points (n, 3) mm on fret index `fret` (0 = fret 1) at lateral fractions, and derivatives (n, 3, unknowns)."""
    count = len(fret)
    z = model.z_mm[fret]
    share = 2.0 * z / model.scale_length_mm
    width = width_mm(model, theta, z)
    x = lateral * width / 2.0
    along = model.twist_share[fret]
    slope = theta[CURVATURE_SLOPE] * (along - 0.5)
    curvature = theta[CURVATURE] + slope
    roll = theta[TWIST] * along + model.roll_modes[fret] @ theta[model.roll] + theta[model.fret_roll][fret]
    middle = model.middle_modes_mm[fret] @ theta[model.middle] + theta[model.fret_error][fret]
    points = np.column_stack([x, middle + x * roll - curvature * x**2 / 2.0, z])
    derivative = np.zeros((count, 3, model.unknowns))
    by_x = roll - curvature * x
    for index, part in ((WIDTH_NUT, 1.0 - share), (WIDTH_12, share)):
        derivative[:, 0, index] = lateral * part / 2.0
        derivative[:, 1, index] = by_x * lateral * part / 2.0
    derivative[:, 1, CURVATURE] = -(x**2) / 2.0
    derivative[:, 1, CURVATURE_SLOPE] = -(x**2) / 2.0 * (along - 0.5)
    derivative[:, 1, TWIST] = x * along
    derivative[:, 1, model.middle] = model.middle_modes_mm[fret]
    derivative[:, 1, model.roll] = x[:, None] * model.roll_modes[fret]
    every = np.arange(count)
    derivative[every, 1, model.fret_error.start + fret] = 1.0
    derivative[every, 1, model.fret_roll.start + fret] = x
    return points, derivative


def edge_place(model: NeckModel, gap: NDArray[np.int64], share: Array) -> Array:
    """(n,) place along the neck, -1 at fret 1 to 1 at the last fret, share of the way from fret index `gap` on."""
    along = model.twist_share
    return np.asarray(2.0 * (along[gap] * (1.0 - share) + along[gap + 1] * share) - 1.0)


def edge_points(
    model: NeckModel, theta: Array, gap: NDArray[np.int64], share: Array, side: NDArray[np.int64]
) -> tuple[Array, Array]:
    """Points (n, 3) on the board's edge, share of the way from fret index `gap` to the next; derivatives as above."""
    sign = np.where(side == 0, -1.0, 1.0)
    (before, by_before), (behind, by_behind) = (fret_points(model, theta, gap + step, sign) for step in (0, 1))
    points = before + share[:, None] * (behind - before)
    derivative = by_before + share[:, None, None] * (by_behind - by_before)
    points[:, 0] += sign * (EDGE_OUT_MM + theta[model.edge_out][side])
    points[:, 1] -= EDGE_DOWN_MM
    derivative[np.arange(len(gap)), 0, model.edge_out.start + side] = sign
    return points, derivative


def surface_points(model: NeckModel, theta: Array, z_mm: Array, lateral: Array) -> Array:
    """Points (..., 3) on the surface through the fret tops, heights interpolated between frets."""
    z, lateral = np.broadcast_arrays(z_mm, lateral)
    tops, _ = fret_points(model, theta, np.arange(model.frets), np.zeros(model.frets))
    right, _ = fret_points(model, theta, np.arange(model.frets), np.full(model.frets, 1.0))
    left, _ = fret_points(model, theta, np.arange(model.frets), np.full(model.frets, -1.0))
    x = lateral * width_mm(model, theta, z) / 2.0
    middle = np.interp(z, model.z_mm, tops[:, 1])
    roll = np.interp(z, model.z_mm, (right[:, 1] - left[:, 1]) / (right[:, 0] - left[:, 0]))
    along = np.interp(z, model.z_mm, model.twist_share)
    curvature = theta[CURVATURE] + theta[CURVATURE_SLOPE] * (along - 0.5)
    return np.stack([x, middle + x * roll - curvature * x**2 / 2.0, z], axis=-1)


def _bridge_modes(
    z: Array, long_part: float, short_part: float, smallest: float = _SMALLEST_MODE_MM
) -> Array:
    """Principal modes (N, M) of the process held at zero at both ends, each scaled to prior sd 1."""
    distance = np.abs(z[:, None] - z[None, :])
    kernel = long_part**2 * _matern52(distance / _BOW_LENGTH_MM)
    kernel += short_part**2 * _matern32(distance / _LOCAL_LENGTH_MM)
    ends = np.array([0, len(z) - 1])
    gain = np.linalg.solve(kernel[np.ix_(ends, ends)], kernel[ends])
    kernel = kernel - kernel[:, ends] @ gain
    values, vectors = np.linalg.eigh((kernel + kernel.T) / 2.0)
    keep = values > smallest**2
    return np.asarray(vectors[:, keep][:, ::-1] * np.sqrt(values[keep][::-1]))


def _matern52(s: Array) -> Array:
    r = np.sqrt(5.0) * s
    value: Array = (1.0 + r + r**2 / 3.0) * np.exp(-r)
    return value


def _matern32(s: Array) -> Array:
    r = np.sqrt(3.0) * s
    value: Array = (1.0 + r) * np.exp(-r)
    return value
