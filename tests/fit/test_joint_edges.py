"""The board's edges in the joint fit: a ruler of how the neck widens, and no more than that."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.fit.simulated_neck import BASS, FRETS, FRONT, LATERAL, Sim, View, simulate
from vision.curves.from_fit import curve_under_string
from vision.fit.camera import project
from vision.fit.contradictions import without_contradictions
from vision.fit.joint import JointFit
from vision.fit.neck_model import WIDTH_12, WIDTH_NUT, edge_points
from vision.fit.observations import EdgeData

Array = NDArray[np.float64]

BASS_AGAIN = (9.0, 1300.0, -22.0, 8600.0)


def _relief_mm(sim: Sim, fit: JointFit) -> tuple[float, float]:
    """Relief under the bass string and its uncertainty."""
    curve = curve_under_string(sim.model, fit, np.full(FRETS, -LATERAL), np.ones(FRETS, dtype=bool), 1.0)
    return curve.relief_mm, curve.relief_u_mm


def _without_edges(sim: Sim) -> Sim:
    def none(edges: EdgeData) -> EdgeData:
        names = ("gap", "share", "side", "point_px", "normal", "u_px")
        return replace(edges, **{name: getattr(edges, name)[:0] for name in names})

    return replace(sim, photos=tuple(replace(photo, edges=none(photo.edges)) for photo in sim.photos))


def _taper_u_mm(sim: Sim, fit: JointFit) -> float:
    """Uncertainty of how much wider the neck is at fret 12 than at the nut."""
    form = np.zeros(len(fit.covariance))
    form[[WIDTH_NUT, WIDTH_12]] = -1.0, 1.0
    return float(np.sqrt(form @ fit.covariance @ form))


def _moved(sim: Sim, photo: int, side: int, outwards_mm: float) -> Sim:
    """The same measurements with one edge of one photograph seen elsewhere."""
    edges, camera = sim.photos[photo].edges, sim.photos[photo].camera
    points, _ = edge_points(sim.model, sim.theta, edges.gap, edges.share, edges.side)
    there = points.copy()
    there[:, 0] += np.where(edges.side == side, np.where(side == 0, -1.0, 1.0) * outwards_mm, 0.0)
    seen = edges.point_px + project(there, camera)[0] - project(points, camera)[0]
    photos = list(sim.photos)
    photos[photo] = replace(photos[photo], edges=replace(edges, point_px=seen))
    return replace(sim, photos=tuple(photos))


def test_views_show_the_edges_beside_the_camera() -> None:
    seen = [set(photo.edges.side.tolist()) for photo in simulate(1).photos]
    assert seen == [{0}, {1}, {0, 1}]


@pytest.mark.parametrize("views", [(BASS,), (BASS, BASS_AGAIN, FRONT)])
def test_edges_sharpen_the_taper_and_with_it_the_relief(views: tuple[View, ...]) -> None:
    relief, taper = [], []
    for seed in (1, 2, 3, 4):
        sim = simulate(seed, views)
        bare = _without_edges(sim)
        with_edges, without = sim.fit(), bare.fit()
        relief.append(_relief_mm(bare, without)[1] / _relief_mm(sim, with_edges)[1])
        taper.append(_taper_u_mm(bare, without) / _taper_u_mm(sim, with_edges))
    assert 1.1 < np.mean(relief) < 1.45
    assert 1.05 < np.mean(taper) < 1.6
    assert min(relief + taper) > 1.0


@pytest.mark.parametrize("seed", [5, 6])
@pytest.mark.parametrize("photo", [0, 1])
@pytest.mark.parametrize("outwards_mm", [-0.6, 0.6])
def test_an_edge_that_stands_elsewhere_in_one_low_view_is_dropped(seed: int, photo: int, outwards_mm: float) -> None:
    """A shadow, or the neck's back below the board: the other photographs know better."""
    sim = simulate(seed, (BASS, BASS_AGAIN, FRONT))
    odd = _moved(sim, photo, 0, outwards_mm)
    before, after = sim.fit(), odd.fit()
    honest_mm, honest_u_mm = _relief_mm(sim, before)
    assert np.sign(outwards_mm) * after.edge_offset_mm[photo][0] > 0.3
    kept = tuple(  # a string may be strange by chance; here only edges go
        replace(was, edges=now.edges)
        for was, now in zip(odd.photos, without_contradictions(odd.photos, after), strict=True)
    )
    for own, (was, now) in enumerate(zip(odd.photos, kept, strict=True)):
        expected = np.unique(was.edges.side[was.edges.side != 0] if own == photo else was.edges.side)
        np.testing.assert_array_equal(np.unique(now.edges.side), expected)
    again = replace(odd, photos=kept).fit()
    for fit in (after, again):
        assert _relief_mm(odd, fit)[0] - honest_mm == pytest.approx(0.0, rel=0, abs=0.3 * honest_u_mm)
    assert again.edge_offset_mm[photo][0] == pytest.approx(0.0, rel=0, abs=1e-6)  # nothing tells of it any more


@pytest.mark.parametrize("outwards_mm", [-0.6, 0.6])
def test_an_edge_that_stands_elsewhere_from_the_front_leaves_the_relief_alone(outwards_mm: float) -> None:
    """The front is believed before low views, which cannot prove it wrong; but edges only tell how the neck widens."""
    sim = simulate(5, (BASS, BASS_AGAIN, FRONT))
    honest_mm, honest_u_mm = _relief_mm(sim, sim.fit())
    odd = _moved(sim, 2, 0, outwards_mm)
    change = _relief_mm(odd, odd.fit())[0] - honest_mm
    assert 1e-5 < abs(change) < 0.3 * honest_u_mm
