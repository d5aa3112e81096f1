"""Chances against the normal distribution, costs against worked distributions, the cautious mean against limits."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.stats import norm

from app.decision.chance import Chances, cautious_mean, chances
from app.decision.repairs import EXAMPLE_REPAIRS, PriceList
from app.decision.settings import DecisionSettings
from app.decision.situation import Situation
from app.inspection.facts import RefusedFacts
from tests.decision.situations import all_fine, only, situation
from tests.findings.records import kink, s_curve
from tests.inspection.necks import neck, single
from vision.results import Array


def chance_of(repair_id: str, found: Chances) -> float:
    return next((called.probability for called in found.repairs if called.repair.id == repair_id), 0.0)


def near(expected: float, samples: int = 20_000) -> object:
    """Four standard errors of a share of so many draws."""
    return pytest.approx(expected, abs=4.0 * math.sqrt(max(expected * (1.0 - expected), 1e-4) / samples), rel=0)


@pytest.mark.parametrize(("twist_deg", "u_deg"), [(0.9, 0.1), (1.1, 0.1), (-0.8, 0.3), (0.0, 1.0), (1.0, 0.05)])
def test_chance_of_twist_is_that_of_the_normal_distribution(twist_deg: float, u_deg: float) -> None:
    found = chances(situation(neck(twist_deg=twist_deg, twist_u_deg=u_deg)))
    expected = norm.sf(1.0, twist_deg, u_deg) + norm.cdf(-1.0, twist_deg, u_deg)
    assert chance_of("board_and_refret", found) == near(expected)
    assert found.more_than_rod == near(expected)


def test_chance_of_a_set_up_uses_what_the_sides_share() -> None:
    # Mean of two sides, u 0.05 each; with a shared error the mean is as unsure as a side, without it by sqrt(2) surer.
    for difference_u, mean_u in ((0.0, 0.05), (0.05 * math.sqrt(2.0), 0.05 / math.sqrt(2.0))):
        found = chances(situation(neck(0.25, 0.05, difference_u_mm=difference_u)))
        # Wanted are 0.10 to 0.30 mm; nobody turns the rod for less than a feeler leaf (0.025 mm) beyond.
        expected = norm.sf(0.325, 0.25, mean_u) + norm.cdf(0.075, 0.25, mean_u)
        assert chance_of("set_up", found) == near(expected)


def test_a_relief_that_the_rod_advice_leaves_alone_is_no_certain_cost() -> None:
    found = chances(situation(neck(0.32, 0.01)))
    assert chance_of("set_up", found) == near(norm.sf(0.325, 0.32, 0.01))
    assert [called.lowers_offer_by < 90.0 for called in found.repairs if called.repair.id == "set_up"] == [True]


def test_sides_that_ask_for_opposite_turns_are_past_the_rod() -> None:
    for bass_mm, treble_mm in ((0.5, -0.1), (-0.1, 0.5)):
        found = chances(situation(neck(bass_mm, treble_mm=treble_mm)))
        assert chance_of("board_and_refret", found) == 1.0
        assert chance_of("set_up", found) == 0.0  # their mean is in the wanted range
    # Each side a standard uncertainty from its limit: with a shared error both at once cannot be.
    shared = chances(situation(neck(0.27, 0.03, treble_mm=0.13, difference_u_mm=0.0)))
    assert chance_of("board_and_refret", shared) == 0.0
    near_limit = chances(situation(neck(0.3025, 0.118, treble_mm=0.2736, difference_u_mm=0.02)))
    board = [called.lowers_offer_by for called in near_limit.repairs if called.repair.id == "board_and_refret"]
    assert sum(board) < 1.0  # one side past its limit costs no board while the two are known to go together
    apart = chances(situation(neck(0.27, 0.03, treble_mm=0.13, difference_u_mm=0.03 * math.sqrt(2.0))))
    assert chance_of("board_and_refret", apart) == near(norm.sf(1.0) ** 2 + norm.sf(17.0 / 3.0) ** 2)


def test_single_frets_are_drawn_one_by_one() -> None:
    # 44 deviations of u 0.04 against 0.10: 1 - (1 - 2 sf(2.5))^44 for one or more.
    curve = neck(deviation_u_mm=0.04)
    found = chances(situation(curve))
    one = 1.0 - (1.0 - 2.0 * norm.sf(2.5)) ** 2  # either side of a fret
    some = 1.0 - (1.0 - one) ** 22
    few = sum(math.comb(22, n) * one**n * (1.0 - one) ** (22 - n) for n in range(3))
    assert chance_of("spot_level", found) == near(some)
    # The last frets share that uncertainty: their rise may call for the same work.
    level = [norm.cdf(0.08, side.rise_mm, side.rise_u_mm) for side in (curve.bass, curve.treble)]
    assert chance_of("level_and_crown", found) == near(1.0 - few * math.prod(level))


def test_unseen_frets_carry_the_stated_chance() -> None:
    deviation = np.zeros(22)
    deviation[[3, 9]] = np.nan
    found = chances(situation(neck(deviation=deviation)))
    assert chance_of("spot_level", found) == near(1.0 - 0.98**4)


@pytest.mark.parametrize(
    ("gap", "repair_ids"),
    [
        (s_curve(0.15), {"board_and_refret", "level_and_crown"}),  # an S also lifts the last frets
        (kink(0.3), {"level_and_crown"}),
        (kink(-0.01), set()),
    ],
)
def test_shapes_call_for_their_repair(gap: Array, repair_ids: set[str]) -> None:
    found = chances(situation(neck(gap=gap)))
    called = {item.repair.id for item in found.repairs if item.probability > 0.9} - {"set_up"}
    assert called == repair_ids


def test_a_hump_calls_for_levelling() -> None:
    found = chances(situation(neck(gap=-0.4 * np.exp(-0.5 * ((np.arange(22) - 15.0) / 2.5) ** 2))))
    assert chance_of("level_and_crown", found) > 0.9


def test_a_high_fret_is_certain_where_it_is_sharp() -> None:
    found = chances(situation(neck(deviation=single(7, 0.2))))
    assert chance_of("spot_level", found) == 1.0
    assert chance_of("level_and_crown", found) < 1e-3
    three = single(7, 0.2) + single(9, 0.2) - single(11, 0.2)
    assert chance_of("level_and_crown", chances(situation(neck(deviation=three)))) == 1.0


@pytest.mark.parametrize(
    ("readings", "state", "chance"),
    [
        ({"rod_position": "at its end"}, "fault", 1.0),
        ({}, "fault", 1.0),
        ({"rod_position": "under load"}, "fine", 0.0),
    ],
)
def test_a_bow_past_the_rod(readings: dict[str, str], state: str, chance: float) -> None:
    checks = all_fine(rod_travel={"state": state, "readings": readings})
    found = chances(situation(neck(0.9), checks))
    assert chance_of("board_and_refret", found) == chance


@pytest.mark.parametrize(
    ("state", "readings", "chance"),
    [
        ("look closer", {"rod_position": "slack", "rod_type": "single-action"}, 1.0),
        ("look closer", {"rod_position": "slack"}, 1.0),
        ("look closer", {"rod_position": "slack", "rod_type": "double-action"}, 0.0),
        ("look closer", {"rod_position": "under load"}, 0.0),
        ("look closer", {}, 0.2),
        ("not checked", {}, 0.2),
        ("fine", {}, 0.0),  # fine means under load
    ],
)
def test_a_back_bow_and_the_rod(state: str, readings: dict[str, str], chance: float) -> None:
    checks = all_fine(rod_travel={"state": state, "readings": readings})
    assert chance_of("board_and_refret", chances(situation(neck(-0.5), checks))) == near(chance)


@pytest.mark.parametrize(
    ("wear", "chance"),
    [
        ({"state": "fault", "readings": {"fret_height_mm": 0.7, "deepest_dent_mm": 0.2}}, 1.0),
        ({"state": "look closer", "readings": {"fret_height_mm": 1.2, "deepest_dent_mm": 0.1}}, 0.0),
        ({"state": "look closer", "readings": {"fret_height_mm": 0.88, "deepest_dent_mm": 0.1}}, 0.5),
        ({"state": "look closer"}, 0.3),
        ({"state": "not checked"}, 0.05),
        ({"state": "fine"}, 0.0),
    ],
)
def test_frets_too_low(wear: dict[str, object], chance: float) -> None:
    assert chance_of("refret", chances(situation(checks=all_fine(fret_wear=wear)))) == near(chance)


@pytest.mark.parametrize(
    ("state", "chance"), [("fine", 0.0), ("look closer", 0.3), ("fault", 1.0), ("not checked", 0.05)]
)
def test_a_check_weighs_by_its_state(state: str, chance: float) -> None:
    assert chance_of("nut", chances(situation(checks=all_fine(nut=state)))) == near(chance)


def test_without_photographs_the_stated_chances_stand_in() -> None:
    for nothing in (RefusedFacts("No neck.", "Step back."), None):
        found = chances(Situation(nothing, all_fine()))
        expected = {
            repair.id: repair.unseen_chance for repair in EXAMPLE_REPAIRS if repair.causes and repair.id != "refret"
        }
        for repair_id, chance in expected.items():
            assert chance_of(repair_id, found) == near(chance)
        assert found.cautious_cost_sharp == 0.0


def test_a_certain_fault_costs_from_low_to_high() -> None:
    # Rectangular from 100 to 300: median 200, central 90 % 110 to 290, dearest half on average 250.
    found = chances(situation(checks=all_fine(nut="fault"), prices=only("nut", 100.0, 300.0)))
    assert found.cost_median == pytest.approx(200.0, abs=3.0, rel=0)
    assert found.cost_low == pytest.approx(110.0, abs=2.0, rel=0)
    assert found.cost_high == pytest.approx(290.0, abs=2.0, rel=0)
    assert found.cautious_cost == pytest.approx(250.0, abs=2.0, rel=0)
    (called,) = found.repairs
    assert called.lowers_offer_by == found.cautious_cost


def test_a_repair_lowers_the_offer_by_what_the_others_leave() -> None:
    prices = PriceList("EUR", only("nut", 100.0, 100.0).repairs + only("tuners", 60.0, 60.0).repairs)
    found = chances(situation(checks=all_fine(nut="fault", tuners="fault"), prices=prices))
    assert found.cautious_cost == pytest.approx(160.0, abs=1e-9, rel=0)
    lowers = {called.repair.id: called.lowers_offer_by for called in found.repairs}
    assert lowers == pytest.approx({"nut": 100.0, "tuners": 60.0}, abs=1e-9, rel=0)


def test_one_ladder_is_paid_once() -> None:
    prices = PriceList("EUR", tuple(
        dataclasses.replace(repair, low_cost=cost, high_cost=cost)
        for repair, cost in zip(EXAMPLE_REPAIRS, np.arange(1.0, len(EXAMPLE_REPAIRS) + 1.0).tolist(), strict=True)
    ))  # fmt: skip
    ids = [repair.id for repair in EXAMPLE_REPAIRS]
    curve = neck(twist_deg=3.0, deviation=single(3, 0.3))
    found = chances(situation(curve, all_fine(fret_ends="fault", play_test="fault"), prices))
    dearest = max(ids.index(name) + 1.0 for name in ("board_and_refret", "spot_level", "level_and_crown", "fret_ends"))
    assert found.cost_low == found.cost_high == dearest


def test_the_same_seed_gives_the_same_figures_and_another_seed_nearly() -> None:
    unsure = situation(neck(0.28, 0.1, twist_deg=0.8, twist_u_deg=0.3))
    assert chances(unsure) == chances(unsure)
    other = chances(dataclasses.replace(unsure, settings=DecisionSettings(seed=1)))
    assert other != chances(unsure)
    assert other.more_than_rod == pytest.approx(chances(unsure).more_than_rod, abs=0.02, rel=0)


def test_cautious_mean_of_worked_outcomes() -> None:
    cost = np.array([0.0, 0.0, 0.0, 100.0])
    assert cautious_mean(cost, 1.0) == 25.0
    assert cautious_mean(cost, 0.5) == 50.0
    assert cautious_mean(cost, 0.25) == 100.0
    assert cautious_mean(cost, 0.1) == 100.0
    share = cautious_mean(np.array([4.0, 1.0, 3.0, 2.0]), 0.375)
    assert share == pytest.approx((4.0 + 0.5 * 3.0) / 1.5, rel=0, abs=1e-12)


def test_cautious_mean_never_falls_when_costs_spread_or_grow_likelier() -> None:
    rng = np.random.default_rng(5)
    for _ in range(50):
        cost = rng.gamma(1.0, 100.0, 400) * (rng.random(400) < rng.random())
        share = float(rng.uniform(0.05, 1.0))
        spread = np.concatenate([cost - 10.0, cost + 10.0])  # the same mean, wider
        assert cautious_mean(spread, share) >= cautious_mean(np.tile(cost, 2), share) - 1e-9
        assert cautious_mean(np.maximum(cost, 20.0), share) >= cautious_mean(cost, share)
        assert cost.mean() - 1e-9 <= cautious_mean(cost, share) <= cost.max() + 1e-9


def test_misuse_is_named() -> None:
    with pytest.raises(ValueError, match="cost holds no outcomes"):
        cautious_mean(np.array([]), 0.5)
    with pytest.raises(ValueError, match=r"dearest_share=0\.0"):
        cautious_mean(np.ones(3), 0.0)
    with pytest.raises(ValueError, match=r"dearest_share=0\.0"):
        DecisionSettings(dearest_share=0.0)
    with pytest.raises(ValueError, match=r"samples=1000\.0"):
        DecisionSettings(samples=1000.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="samples=10 "):
        DecisionSettings(samples=10)
    with pytest.raises(ValueError, match="spot_frets_max=True"):
        DecisionSettings(spot_frets_max=True)
    with pytest.raises(ValueError, match=r"twist_beyond_repair_deg=-1\.0"):
        DecisionSettings(twist_beyond_repair_deg=-1.0)
    with pytest.raises(ValueError, match="checks lacks fret_wear"):
        Situation(neck(), {key: result for key, result in all_fine().items() if key != "fret_wear"})
    with pytest.raises(ValueError, match="curve="):
        Situation({"status": "measured"})  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="look_closer_chance=nan"):
        DecisionSettings(look_closer_chance=float("nan"))
