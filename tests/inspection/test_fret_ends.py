"""Moisture, shrinkage and protruding fret ends against the Wood Handbook's equation and table."""

import itertools

import pytest

from app.inspection.fret_ends import (
    WOODS,
    Wood,
    compare_fret_ends,
    equilibrium_moisture_pct,
    predict_fret_ends,
    shrinkage_mm,
)


def test_moisture_is_that_of_equation_4_5() -> None:
    # Wood Handbook FPL-GTR-282, eq. 4-5 in its Celsius form, worked independently.
    assert equilibrium_moisture_pct(20.0, 50.0) == pytest.approx(9.271141, abs=5e-7, rel=0)


@pytest.mark.parametrize(
    ("temperature_c", "moistures_pct"),
    [(4.4, (4.6, 7.1, 9.5, 12.3)), (21.1, (4.5, 6.9, 9.2, 12.0)), (32.2, (4.3, 6.7, 8.9, 11.5))],
)
def test_moisture_is_that_of_table_4_2(temperature_c: float, moistures_pct: tuple[float, ...]) -> None:
    # Wood Handbook, table 4-2 at 20, 35, 50 and 65 % humidity, printed to one decimal; first and last row [memory].
    found = [equilibrium_moisture_pct(temperature_c, humidity) for humidity in (20.0, 35.0, 50.0, 65.0)]
    assert found == pytest.approx(moistures_pct, abs=0.06, rel=0)


def test_moisture_rises_with_humidity_from_nothing() -> None:
    moistures = [equilibrium_moisture_pct(20.0, humidity) for humidity in range(101)]
    assert moistures[0] == 0.0
    assert all(b > a for a, b in itertools.pairwise(moistures))
    assert 20.0 < moistures[-1] < 35.0  # near fibre saturation, about 30 %


@pytest.mark.parametrize(("coefficient", "loss_mm"), [(0.00353, 0.930), (0.00201, 0.529)])
def test_a_board_from_50_to_20_per_cent(coefficient: float, loss_mm: float) -> None:
    # Wood Handbook dD = D C dM, 56 mm, tangential: maple, and rosewood [memory]. The reference figures go with the
    # table's 9.2 - 4.5 = 4.7 %; the equation at 20 C gives 4.76 %, within the table's rounding.
    assert shrinkage_mm(56.0, coefficient, 9.2, 4.5) == pytest.approx(loss_mm, abs=1.5e-3, rel=0)
    before, now = equilibrium_moisture_pct(20.0, 50.0), equilibrium_moisture_pct(20.0, 20.0)
    assert shrinkage_mm(56.0, coefficient, before, now) == pytest.approx(loss_mm, abs=0.1 * 56.0 * coefficient, rel=0)


def test_prediction_is_half_the_loss_at_each_end_over_the_woods() -> None:
    ends = predict_fret_ends(56.0, 20.0, 20.0)
    loss_pct = equilibrium_moisture_pct(20.0, 50.0) - equilibrium_moisture_pct(20.0, 20.0)
    assert ends.high_mm == pytest.approx(56.0 * 0.00353 * loss_pct / 2.0, abs=1e-9, rel=0)  # maple, tangential
    assert ends.low_mm == pytest.approx(56.0 * 0.00094 * loss_pct / 2.0, abs=1e-9, rel=0)  # rosewood, radial
    assert "rough" in ends.text


def test_one_wood_gives_its_two_cuts() -> None:
    ends = predict_fret_ends(50.0, 20.0, 35.0, woods=[Wood("plain", 0.001, 0.002)])
    assert ends.high_mm == pytest.approx(2.0 * ends.low_mm, rel=0, abs=1e-12)
    assert "rough" not in ends.text


def test_air_heated_in_winter_is_dry() -> None:
    # psychrolib 2.5.0: air at 0 C and 80 % heated to 21 C is at 19.65 %.
    ends = predict_fret_ends(52.0, 21.0, 19.65)
    assert 4.2 < equilibrium_moisture_pct(21.0, 19.65) < 4.6
    assert 0.1 < ends.low_mm < ends.high_mm < 0.5


def test_a_damp_room_shows_nothing() -> None:
    ends = predict_fret_ends(52.0, 20.0, 70.0)
    assert (ends.low_mm, ends.high_mm) == (0.0, 0.0)
    assert "no narrower" in ends.text


def test_drier_never_stands_out_less() -> None:
    highs = [predict_fret_ends(52.0, 20.0, humidity).high_mm for humidity in range(60, 4, -5)]
    assert all(b >= a for a, b in itertools.pairwise(highs))
    assert highs[-1] > 0.4


@pytest.mark.parametrize(
    ("proud_mm", "word"),
    [
        (0.0, "explained"),
        (0.36, "explained"),  # the prediction's high end is 0.471 mm: two uncertainties below it, and not quite so
        (0.38, "cannot tell"),
        (0.46, "cannot tell"),
        (0.56, "cannot tell"),
        (0.58, "more than dry air"),
        (0.9, "more than dry air"),
    ],
)
def test_what_is_found_against_what_is_predicted(proud_mm: float, word: str) -> None:
    assert compare_fret_ends(proud_mm, 0.05, predict_fret_ends(56.0, 20.0, 20.0))[0] == word


@pytest.mark.parametrize("humidity", [-1.0, 100.1, float("nan"), float("inf"), True, "50", None, 10**400])
def test_a_humidity_that_cannot_be_is_named(humidity: object) -> None:
    with pytest.raises(ValueError, match="humidity_pct="):
        equilibrium_moisture_pct(20.0, humidity)  # type: ignore[arg-type]


def test_other_misuse_is_named() -> None:
    with pytest.raises(ValueError, match="temperature_c=100"):
        equilibrium_moisture_pct(100.0, 50.0)
    with pytest.raises(ValueError, match="width_mm=-1"):
        shrinkage_mm(-1.0, 0.002, 9.0, 6.0)
    with pytest.raises(ValueError, match="woods"):
        predict_fret_ends(52.0, 20.0, 40.0, woods=[])
    with pytest.raises(ValueError, match="proud_mm=9"):
        compare_fret_ends(9.0, 0.1, predict_fret_ends(52.0, 20.0, 40.0))


def test_every_wood_moves_more_across_flat_sawn_boards() -> None:
    assert all(0.0 < wood.radial < wood.tangential < 0.005 for wood in WOODS)
