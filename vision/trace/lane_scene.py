"""The sharp picture along one lane: crowns that hide one another, as a linear function of one template.

Look along one lane between two strings from the nearest fret to the farthest. Between the top of a fret and
the top of the next nearer one the picture shows that fret's crown and then the board in front of it: a
function of the depth below the fret's top alone,

    sharp(v) = T(u; a) ,   u = (top_k - v) / scale_k   in mm,   top_{k-1} < v <= top_k

where the crown template T is one curve for the whole lane (crown height, width and the lights it mirrors are
the same for every fret), free to change slowly with a covariate `a` (the view angle) and, below the crown,
with the place on the board. Nearer frets cover what is behind them, so merged far frets are modelled too.
The template is cubic B-splines; its coefficients and the shifts of the tops are unknowns of vision.trace.profile.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.interpolate import BSpline

Array = NDArray[np.float64]

_FINE = 3  # fine rows per row of the strip
_CROWN_HEIGHT_MM, _CROWN_HALF_WIDTH_MM = 1.15, 1.2
_MIRRORED = 0.5  # how far a mirrored distant light follows the line of sight, against a mark on the crown
_BEYOND_MM = np.array([0.0, 0.25, 0.5, 1.0, 2.5])  # knots of what stands behind the farthest fret


@dataclass(frozen=True)
class LaneGeometry:
    """Where the current model puts the frets in the strip; everything ordered from near to far.

    top_row : (N,) row of each fret's top.  rows_per_mm : (N,) rows a fret's top moves when it rises 1 mm
    (or, seen from the front, moves 1 mm along the neck).  depth_m : (rows,) depth of each strip row.
    px_per_row : length of a strip row in image pixels.  angle : (N,) covariate of the template, about -1..1.
    place : (N,) position along the neck, -1..1.  tangent : (N,) tangent of the view angle at each fret, for the
    way a crown is foreshortened, or None where crowns are seen from the front.  crown_mm : depth of the crown
    below its top, where the template needs fine knots.  near_mm, beyond_mm : how much in front of the nearest
    and behind the farthest fret belongs to the signal.
    """

    top_row: Array
    rows_per_mm: Array
    depth_m: Array
    px_per_row: float
    angle: Array
    place: Array
    tangent: Array | None = None
    crown_mm: float = 1.7
    near_mm: float = 1.6
    beyond_mm: float = 0.9

    @property
    def far(self) -> Array:
        """(N,) position along the neck, about -1 at its near end to 1 at its far end."""
        return np.asarray(self.place * np.sign(self.place[-1] - self.place[0]))


class LaneBasis:
    """Knots, regularisation and the fine grid shared by all lanes of a strip."""

    def __init__(self, rows: int, geometry: LaneGeometry) -> None:
        g = geometry
        low = max(0, int(g.top_row[0] - g.near_mm * g.rows_per_mm[0]))
        high = min(rows, int(g.top_row[-1] + g.beyond_mm * g.rows_per_mm[-1]) + 2)
        self.low, self.high = low, high
        self.rows = np.arange(low, high, dtype=np.float64)
        self.fine_rows = np.arange((low - 16) * _FINE, (high + 16) * _FINE) / _FINE
        deepest = float(np.max(np.diff(g.top_row) / g.rows_per_mm[1:])) * 1.2
        self.knots = _template_knots(max(deepest, g.crown_mm + 0.8), g.crown_mm)
        self.size = len(self.knots) - 4
        self.total = 3 * self.size + len(_BEYOND_MM)
        self.penalty = _penalty(self.size, self.knots, self.total, g.crown_mm)
        self.shift_form, self.slope_form = _shift_forms(self.knots, g.crown_mm)
        self.depth_m = np.interp(self.rows, np.arange(rows), g.depth_m)
        self.common_change: Array = np.zeros(self.size)

    def slopes(self, coefficient: Array) -> Array:
        """(lanes, 3 * (size - 1)) of the templates' slopes, as splines of degree 2, for (lanes, total) templates."""
        parts = coefficient[:, : 3 * self.size].reshape(-1, 3, self.size)
        slopes = 3.0 * np.diff(parts, axis=2) / (self.knots[4:-1] - self.knots[1:-4])
        return np.asarray(slopes.reshape(len(coefficient), -1))


class LaneScene:
    """The sharp signals of all lanes on the fine grid, each a linear function of its own template, for given shifts.

    shift : (lanes, N) of the tops, mm.
    turn_rad : how far the normal that mirrors the light right overhead turns from the middle of the neck to its far
    end, beyond what the line of sight makes of it: a lamp in the room stands in another direction from every fret.
    """

    def __init__(self, shift: Array, basis: LaneBasis, geometry: LaneGeometry, turn_rad: float = 0.0) -> None:
        self.basis, self.geometry, self.turned = basis, geometry, turn_rad * geometry.far
        self.top = geometry.top_row + shift * geometry.rows_per_mm
        self.lanes, self.frets = shift.shape
        fine = basis.fine_rows
        owner = np.array([np.searchsorted(top, fine, side="left") for top in self.top])
        self.lane, self.row = np.nonzero(owner < self.frets)
        self.fret = owner[self.lane, self.row]
        depth = (self.top[self.lane, self.fret] - fine[self.row]) / geometry.rows_per_mm[self.fret]
        self.depth, self.stretch, self.slide = _unforeshorten(depth, self.fret, geometry.tangent, self.turned)
        seen = self._terms(self.depth, self.fret, self.lane)
        entries = [seen.at(self.row), self._background(owner), *self._softened_edges()]
        # Light of fine row `at` in lane `of`: the sum of value times unknown `column`.
        self.value, self.at, self.of, self.column = (np.concatenate(part) for part in zip(*entries, strict=True))

    @property
    def design(self) -> sparse.csr_matrix:
        """Derivative of the signals with respect to the templates, (fine rows, lanes * basis.total), lane by lane."""
        total = self.basis.total
        shape = (len(self.basis.fine_rows), self.lanes * total)
        return sparse.csr_matrix((self.value, (self.at, self.of * total + self.column)), shape=shape)

    def light(self, coefficient: Array) -> Array:
        """(fine rows, lanes) for templates (lanes, basis.total)."""
        return self._summed(self.at, self.of, self.value * coefficient[self.of, self.column])

    def motion(self, coefficient: Array) -> sparse.csr_matrix:
        """Derivative with respect to the row of every top, (fine rows, lanes * N), lane by lane."""
        last = coefficient[:, 3 * self.basis.size]  # the background, right above the farthest top
        behind = np.column_stack([self.above.light(coefficient).reshape(self.lanes, -1), last]).ravel()
        jump = (self.below.light(coefficient) - behind) * _FINE
        slope = self._slope(coefficient) * self.stretch / self.geometry.rows_per_mm[self.fret]
        row = np.r_[self.row, self.cell.ravel()]
        column = np.r_[self.lane * self.frets + self.fret, np.arange(self.top.size)]
        shape = (len(self.basis.fine_rows), self.top.size)
        return sparse.csr_matrix((np.r_[slope, jump], (row, column)), shape=shape)

    def by_turn(self, coefficient: Array) -> Array:
        """Derivative with respect to turn_rad, (fine rows, lanes)."""
        return self._summed(self.row, self.lane, self._slope(coefficient) * self.slide * self.geometry.far[self.fret])

    def _slope(self, coefficient: Array) -> Array:
        """Derivative of the light seen with respect to the depth."""
        return self._slope_terms.light(self.basis.slopes(coefficient))

    @cached_property
    def _slope_terms(self) -> "_Terms":
        return self._terms(self.depth, self.fret, self.lane, degree=2)

    def _terms(self, depth: Array, fret: NDArray[np.int64], lane: NDArray[np.int64], degree: int = 3) -> "_Terms":
        """Light of frets (n,) of lanes (n,) at depths (n,) below their tops; of degree 2: its slope."""
        knots = self.basis.knots[3 - degree : len(self.basis.knots) - 3 + degree]
        spline = BSpline.design_matrix(_inside(depth, knots), knots, degree)
        covariates = np.column_stack([np.ones(len(fret)), self.geometry.angle[fret], self.geometry.place[fret] ** 2])
        values = covariates[:, :, None] * spline.data.reshape(-1, 1, degree + 1)
        columns = spline.shape[1] * np.arange(3)[:, None] + spline.indices.reshape(-1, 1, degree + 1)
        return _Terms(lane, values.reshape(len(depth), -1), columns.reshape(len(depth), -1))

    def _background(self, owner: NDArray[np.int64]) -> "_Entries":
        lane, row = np.nonzero(owner >= self.frets)
        behind = (self.basis.fine_rows[row] - self.top[lane, -1]) / self.geometry.rows_per_mm[-1]
        hats = np.array([np.interp(behind, _BEYOND_MM, unit) for unit in np.eye(len(_BEYOND_MM))]).T
        columns = np.broadcast_to(np.arange(3 * self.basis.size, self.basis.total), hats.shape)
        return _Terms(lane, hats, columns).at(row)

    def _softened_edges(self) -> list["_Entries"]:
        """A fine row that a fret's top cuts through shows part of each: without this, tops would move in steps."""
        g = self.geometry
        lane, fret = np.meshgrid(np.arange(self.lanes), np.arange(self.frets), indexing="ij")
        between = np.diff(self.top, axis=1) / g.rows_per_mm[1:]
        depth, _, _ = _unforeshorten(between.ravel(), fret[:, 1:].ravel(), g.tangent, self.turned)
        self.below = self._terms(np.zeros(fret.size), fret.ravel(), lane.ravel())
        self.above = self._terms(depth, fret[:, 1:].ravel(), lane[:, 1:].ravel())
        position = (self.top - self.basis.fine_rows[0]) * _FINE
        self.cell = np.clip(np.round(position).astype(np.int64), 0, len(self.basis.fine_rows) - 2)
        # Cell c covers c - 1/2 .. c + 1/2 (in fine rows); the part up to the top belongs to the crown.
        part = np.clip(position - (self.cell - 0.5), 0.0, 1.0)
        more = part - (self.cell <= position)
        background = np.full(self.lanes, 3 * self.basis.size)
        return [
            self.below.at(self.cell.ravel(), more.ravel()),
            self.above.at(self.cell[:, :-1].ravel(), -more[:, :-1].ravel()),
            (-more[:, -1], self.cell[:, -1], lane[:, -1], background),  # above the last top
        ]

    def _summed(self, row: NDArray[np.int64], lane: NDArray[np.int64], value: Array) -> Array:
        shape = (len(self.basis.fine_rows), self.lanes)
        return np.asarray(np.bincount(row * self.lanes + lane, value, shape[0] * shape[1]).reshape(shape))


_Entries = tuple[Array, NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]
"""Value, fine row, lane and column of every summand."""


@dataclass(frozen=True, eq=False)
class _Terms:
    """Lights (n,) as sums over few of their lane's unknowns: lane (n,), value and column (n, summands)."""

    lane: NDArray[np.int64]
    value: Array
    column: NDArray[np.int64]

    def at(self, rows: NDArray[np.int64], weight: Array | float = 1.0) -> _Entries:
        """Entries where light i, times its weight, is added to row rows[i]."""
        value = self.value * np.reshape(weight, (-1, 1))
        summands = value.shape[1]
        return value.ravel(), np.repeat(rows, summands), np.repeat(self.lane, summands), self.column.ravel()

    def light(self, coefficient: Array) -> Array:
        """(n,) for unknowns (lanes, columns)."""
        return np.asarray(np.sum(self.value * coefficient[self.lane[:, None], self.column], axis=1))


def _unforeshorten(
    depth_mm: Array, fret: NDArray[np.int64], tangent: Array | None, turned_rad: Array
) -> tuple[Array, Array, Array]:
    """Depth below the top as it would appear at the mean view angle; its derivative; and with respect to the turn.

    A point y below its top and x nearer to the camera appears y + x tan(a) below it. Crown: a half-ellipse of usual
    fret wire, y = h (1 - cos p) and x = w sin p, which appears h + hypot(h, w tan(a)) sin(p - d) below its top with
    tan(d) = h / (w tan(a)). It is a mirror: what it shows of a distant room moves over it by half the change of the
    view angle, only its foot stays where it is. The board in front is stretched in proportion to tan(a).

    At arch p the crown mirrors what stands 2 p + a above the horizon. Of lamps and a ceiling at one height above the
    neck the direction changes along it as sin^2(2 p + a): at once overhead, not at all on the horizon, which the
    crown's top mirrors. By that share of turned_rad (N,) the mirroring normal is turned; what is mirrored moves on by
    as much of the crown's height as the arch has turned.
    """
    if tangent is None:
        return depth_mm, np.ones_like(depth_mm), np.zeros_like(depth_mm)
    height, half_width = _CROWN_HEIGHT_MM, _CROWN_HALF_WIDTH_MM
    mean = float(np.mean(tangent))
    own, turned = tangent[fret], turned_rad[fret]
    lean = np.arctan2(height, half_width * own)
    arch = lean + np.arcsin(np.clip((depth_mm - height) / np.hypot(height, half_width * own), -1.0, 1.0))
    arch = np.clip(arch, 0.0, 0.5 * np.pi)
    sine, cosine = np.sin(arch), np.cos(arch)
    level = 1.0 - cosine
    fixed, by_arch = level**4, 4.0 * level**3 * sine  # at the foot
    follows = _MIRRORED + (1.0 - _MIRRORED) * fixed
    sight = np.arctan(own)
    overhead, by_overhead = np.sin(2.0 * arch + sight) ** 2, 2.0 * np.sin(4.0 * arch + 2.0 * sight)
    free, by_free = (1.0 - fixed) * overhead, (1.0 - fixed) * by_overhead - by_arch * overhead
    slide = -height * sine * free
    by_depth = 1.0 / (height * sine + half_width * own * cosine)  # of the arch
    away = (mean - own) * half_width
    slope = away * (cosine * follows + sine * (1.0 - _MIRRORED) * by_arch)
    slope -= turned * height * (cosine * free + sine * by_free)
    crown = depth_mm < height + half_width * own
    return (
        np.where(crown, depth_mm + away * sine * follows + turned * slide, height + (depth_mm - height) * mean / own),
        np.where(crown, 1.0 + slope * by_depth, mean / own),
        np.where(crown, slide, 0.0),
    )


def _template_knots(deepest_mm: float, crown_mm: float) -> Array:
    """Cubic knots: fine over the crown, then ever wider over the board in front of it."""
    fine = list(np.linspace(0.0, crown_mm, round(crown_mm / 0.13) + 1))
    step = fine[1]
    while fine[-1] < deepest_mm:
        step *= 1.7
        fine.append(fine[-1] + step)
    return np.array([fine[0]] * 3 + fine + [fine[-1]] * 3)


def _shift_forms(knots: Array, crown_mm: float) -> tuple[Array, Array]:
    """Integrals over the crown: B_i B_j' (rows i) and B_i' B_j', (size, size) each."""
    depth = np.linspace(0.0, crown_mm, 120)
    size = len(knots) - 4
    value = BSpline.design_matrix(depth, knots, 3).toarray()
    slope = BSpline(knots, np.eye(size), 3).derivative()(depth)
    return value.T @ slope, slope.T @ slope


def _penalty(size: int, knots: Array, total: int, crown_mm: float) -> Array:
    """Quadratic penalty keeping the template smooth and its slow changes small; a matrix (total, total)."""
    second = np.diff(np.eye(size), 2, axis=0)
    smooth = second.T @ second
    penalty = np.zeros((total, total))
    for part, (bend, level) in enumerate(((3.0, 0.2), (10.0, 1.0), (30.0, 10.0))):
        block = slice(part * size, (part + 1) * size)
        penalty[block, block] = bend**2 * smooth + level**2 * np.eye(size)
    # The third part belongs to the board alone: on the crown it could imitate a bow.
    crown = 2 * size + np.flatnonzero(knots[3 : 3 + size] < crown_mm)
    penalty[crown, crown] += 1e6
    beyond = np.arange(3 * size, total)
    penalty[beyond, beyond] = 0.04
    return penalty


def _inside(depth: Array, knots: Array) -> Array:
    return np.clip(depth, knots[0], knots[-1] - 1e-9)
