"""Before and after a part turn: the rate, its uncertainty by Monte Carlo, and when to stop."""

import dataclasses

import numpy as np
import pytest

from app.inspection.rod_turns import TurnSettings, turn_advice
from tests.inspection.necks import neck

EXACT = TurnSettings(turn_u=0.0)


def test_an_eighth_that_works_asks_for_another_turn() -> None:
    # 0.46 to 0.40 mm by an eighth: 0.48 mm a turn; 0.20 mm more to the middle of 0.10 to 0.30 is 0.4167 turn.
    advice = turn_advice(neck(0.46, 0.005), neck(0.40, 0.005), 0.125)
    assert advice.mean.per_turn_mm == pytest.approx(-0.48, abs=1e-9, rel=0)
    assert advice.turns_needed == pytest.approx(0.41667, abs=1e-4, rel=0)
    assert (advice.action, advice.direction, advice.next_turn) == ("another turn", "tighten", 0.25)
    assert advice.turns_needed_u is not None
    assert f"0.42 turn (95 %: +- {1.96 * advice.turns_needed_u:.2f})" in advice.text
    assert "resistance" in advice.caution


def test_each_side_has_its_own_rate() -> None:
    advice = turn_advice(neck(0.46, 0.005, treble_mm=0.44), neck(0.40, 0.005, treble_mm=0.40), 0.125)
    assert advice.bass.change_mm == pytest.approx(-0.06, abs=1e-9, rel=0)
    assert advice.treble.change_mm == pytest.approx(-0.04, abs=1e-9, rel=0)
    assert advice.mean.change_mm == pytest.approx(-0.05, abs=1e-9, rel=0)


def test_slackening_a_straight_neck() -> None:
    advice = turn_advice(neck(0.00, 0.004), neck(0.05, 0.004), -0.125)
    assert (advice.action, advice.direction) == ("another turn", "slacken")
    assert advice.turns_needed == pytest.approx(-0.375, abs=1e-6, rel=0)


def test_a_turn_too_far_goes_back() -> None:
    advice = turn_advice(neck(0.35, 0.004), neck(0.05, 0.004), 0.25)
    assert (advice.action, advice.direction) == ("another turn", "slacken")
    assert advice.next_turn == pytest.approx(0.125, abs=1e-9, rel=0)


def test_uncertainty_of_the_turns_needed_is_that_of_monte_carlo() -> None:
    before, after = neck(0.60, 0.01, difference_u_mm=0.006), neck(0.50, 0.01, difference_u_mm=0.006)
    settings = TurnSettings(turn_u=0.01)
    advice = turn_advice(before, after, 0.25, settings=settings)
    rng = np.random.default_rng(8)
    n = 400_000
    b = rng.normal(0.60, before.mean_relief_u_mm, n)
    a = rng.normal(0.50, after.mean_relief_u_mm, n)
    needed = rng.normal(0.25, 0.01, n) * (0.20 - a) / (a - b)
    low, high = np.quantile(needed, (0.1587, 0.8413))
    assert advice.turns_needed_u == pytest.approx(float(high - low) / 2.0, rel=0, abs=0.06 * (high - low) / 2.0)


def test_the_change_is_never_surer_than_its_two_sightings() -> None:
    advice = turn_advice(neck(0.46, 0.03), neck(0.40, 0.04), 0.125, settings=EXACT)
    assert advice.bass.u_mm == pytest.approx(0.05, abs=1e-12, rel=0)
    assert advice.bass.per_turn_u_mm == pytest.approx(0.4, abs=1e-9, rel=0)
    rough = turn_advice(neck(0.46, 0.03), neck(0.40, 0.04), 0.125)
    assert rough.bass.per_turn_u_mm == pytest.approx(np.hypot(0.4, 0.48 * 0.03 / 0.125), abs=1e-9, rel=0)


def test_in_the_wanted_range_the_rod_is_left_alone() -> None:
    advice = turn_advice(neck(0.34, 0.01), neck(0.22, 0.01), 0.25)
    assert (advice.action, advice.next_turn, advice.direction) == ("leave alone", None, None)


@pytest.mark.parametrize(
    ("after_mm", "turns", "total", "words"),
    [
        (0.46, 0.25, None, "hardly moves"),
        (0.52, 0.25, None, "wrong way"),
        (0.30, 0.5, None, "at once"),
        (0.40, 0.125, 1.0, "so far"),
    ],
)
def test_when_to_stop(after_mm: float, turns: float, total: float | None, words: str) -> None:
    advice = turn_advice(neck(0.46, 0.004), neck(after_mm, 0.004), turns, total_turns=total)
    assert advice.action == "stop"
    assert words in advice.text
    assert advice.next_turn is None


def test_sides_that_answer_differently_stop() -> None:
    advice = turn_advice(neck(0.60, 0.004), neck(0.40, 0.004, treble_mm=0.55), 0.25)
    assert advice.action == "stop"
    assert "differently" in advice.text


@pytest.mark.parametrize(("difference_u_mm", "action"), [(0.004, "stop"), (0.04, "another turn")])
def test_sides_are_uneven_only_beyond_what_their_difference_is_known_to(difference_u_mm: float, action: str) -> None:
    # 0.15 mm apart, 0.10 allowed: the 0.05 over must pass 2 sqrt(2) of the difference's uncertainty, 0.011 or 0.113.
    before = neck(0.60, 0.03, difference_u_mm=difference_u_mm)
    after = neck(0.32, 0.03, treble_mm=0.47, difference_u_mm=difference_u_mm)
    assert turn_advice(before, after, 0.25).action == action


def test_a_poor_sighting_cannot_tell() -> None:
    advice = turn_advice(neck(0.46, 0.05), neck(0.40, 0.05), 0.125)
    assert (advice.action, advice.turns_needed, advice.next_turn) == ("cannot tell", None, None)
    half = 1.96 * advice.mean.u_mm
    assert f"of -0.06 mm is within its uncertainty (95 %: +- {half:.2f} mm)." in advice.text, "as in the table below it"


def test_no_step_is_ever_more_than_a_quarter_turn() -> None:
    for before_mm in (0.4, 0.6, 1.0, 2.0):
        for moved_mm in (0.02, 0.05, 0.2):
            advice = turn_advice(neck(before_mm, 0.002), neck(before_mm - moved_mm, 0.002), 0.125)
            assert advice.next_turn is None or 0.1249 < advice.next_turn < 0.2501


def test_misuse_is_named() -> None:
    plain = neck()
    with pytest.raises(ValueError, match=r"turns=0\.0"):
        turn_advice(plain, plain, 0.0)
    with pytest.raises(ValueError, match="turns=nan"):
        turn_advice(plain, plain, float("nan"))
    with pytest.raises(ValueError, match=r"total_turns=-0\.25"):
        turn_advice(plain, plain, 0.25, total_turns=-0.25)
    with pytest.raises(ValueError, match="is not the neck before"):
        turn_advice(plain, dataclasses.replace(plain, scale_length_mm=628.65), 0.25)
    with pytest.raises(ValueError, match=r"largest_turn=0\.1"):
        TurnSettings(largest_turn=0.1)
