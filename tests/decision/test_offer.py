"""The offer: worked examples, limits, and that more uncertainty never raises it."""

import dataclasses
import itertools

import numpy as np
import pytest

from app.decision.chance import chances
from app.decision.offer import highest_offer, offer
from app.decision.situation import Deal, Situation
from app.inspection.checks import CHECKS, read_results
from app.inspection.crowning import CrowningSettings
from tests.decision.situations import FEW, all_fine, only, situation
from tests.findings.records import bow, kink, s_curve
from tests.inspection.necks import neck, scaled


def highest(found: Situation, deal: Deal | None = None) -> float:
    return offer(deal or Deal(1000.0, 100.0), chances(found)).highest


def test_no_faults_is_the_worth_less_the_margin() -> None:
    price = offer(Deal(1000.0, 120.0), chances(situation(scaled(neck(), 0.0))))
    assert price.highest == price.highest_if_sharp == 880.0
    assert price.cautious_cost == 0.0
    photographed = offer(Deal(1000.0, 120.0), chances(situation()))  # a good neck with a usual uncertainty
    assert photographed.highest == pytest.approx(880.0, abs=0.1, rel=0)
    assert photographed.highest <= photographed.highest_if_sharp == 880.0


def test_a_certain_fault_takes_its_cost_off_too() -> None:
    assert highest(situation(checks=all_fine(nut="fault"), prices=only("nut", 70.0, 70.0))) == 830.0
    twisted = situation(neck(twist_deg=3.0), prices=only("board_and_refret", 400.0, 400.0))
    assert highest(twisted) == 500.0


def test_an_unsure_fault_by_hand() -> None:
    # "look closer" is a chance of 0.3; dearest half: 0.3 / 0.5 of the cost of 100, so 60.
    found = situation(checks=all_fine(nut="look closer"), prices=only("nut", 100.0, 100.0))
    assert highest(found) == pytest.approx(840.0, abs=1.3, rel=0)  # four standard errors of 20 000 draws
    plain = dataclasses.replace(found, settings=dataclasses.replace(found.settings, dearest_share=1.0))
    assert highest(plain) == pytest.approx(870.0, abs=1.3, rel=0)


def test_an_offer_is_never_below_nothing() -> None:
    ruin = situation(neck(twist_deg=3.0), read_results({check.id: "fault" for check in CHECKS}))
    assert highest(ruin, Deal(300.0, 100.0)) == 0.0
    assert highest_offer(100.0, 200.0, 0.0) == 0.0
    assert highest_offer(0.0, 0.0, 0.0) == 0.0


@pytest.mark.parametrize("seed", range(25))
def test_more_uncertainty_never_raises_an_offer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    gap = bow(rng.normal(0.2, 0.25)) + rng.choice([0.0, 0.1]) * s_curve(1.0) + kink(rng.choice([0.0, 0.1, -0.2]))
    curve = neck(
        gap=gap,
        u_mm=float(rng.uniform(0.005, 0.05)),
        difference_u_mm=float(rng.uniform(0.003, 0.02)),
        twist_deg=float(rng.normal(0.0, 0.8)),
        twist_u_deg=float(rng.uniform(0.01, 0.1)),
        deviation=rng.standard_t(3, 22) * 0.03,
        deviation_u_mm=float(rng.uniform(0.005, 0.03)),
    )
    states = rng.choice(["fine", "look closer", "fault", "not checked"], len(CHECKS), p=[0.7, 0.1, 0.1, 0.1])
    checks = read_results({check.id: str(state) for check, state in zip(CHECKS, states, strict=True)})
    offers = [
        highest(Situation(scaled(curve, factor), checks, settings=FEW), Deal(3000.0, 0.0))
        for factor in (0.0, 0.3, 1.0, 2.0, 5.0, 20.0)
    ]
    assert all(b <= a + 1e-9 for a, b in itertools.pairwise(offers)), offers
    sharp = offer(Deal(3000.0, 0.0), chances(Situation(curve, checks, settings=FEW))).highest_if_sharp
    assert sharp == pytest.approx(offers[0], abs=1e-9, rel=0)


def test_uncertainty_does_lower_an_offer() -> None:
    sure, unsure = (situation(neck(twist_deg=0.7, twist_u_deg=u)) for u in (0.01, 0.4))
    assert highest(unsure) < highest(sure) - 50.0


def test_a_poor_photograph_does_not_talk_a_fault_away() -> None:
    offers = [highest(situation(neck(twist_deg=1.2, twist_u_deg=u))) for u in (0.0, 0.1, 1.0, 10.0)]
    assert offers == sorted(offers, reverse=True)
    assert chances(situation(neck(twist_deg=1.2, twist_u_deg=1.0))).more_than_rod < 0.8  # the chance itself is honest


@pytest.mark.parametrize("check_id", [check.id for check in CHECKS if check.weight != "hint"])
def test_a_check_that_was_left_out_or_went_worse_never_raises_the_offer(check_id: str) -> None:
    offers = [
        highest(situation(checks=all_fine(**{check_id: state}), settings=FEW))
        for state in ("fine", "not checked", "look closer", "fault")
    ]
    assert offers == sorted(offers, reverse=True)
    assert offers[3] < offers[0]


@pytest.mark.parametrize("height_mm", [0.8, 1.2])
def test_a_rough_reading_of_the_wire_never_raises_the_offer(height_mm: float) -> None:
    wear = {"state": "look closer", "readings": {"fret_height_mm": height_mm, "deepest_dent_mm": 0.1}}
    found = situation(checks=all_fine(fret_wear=wear))
    offers = [
        highest(dataclasses.replace(found, crowning=CrowningSettings(height_u_mm=u))) for u in (0.0, 0.02, 0.1, 0.5)
    ]
    assert offers == sorted(offers, reverse=True)


def test_dearer_repairs_and_more_caution_never_raise_an_offer() -> None:
    found = situation(neck(twist_deg=0.8, twist_u_deg=0.3), all_fine(nut="look closer", fret_wear="not checked"))
    by_share = [
        highest(dataclasses.replace(found, settings=dataclasses.replace(found.settings, dearest_share=share)))
        for share in (1.0, 0.5, 0.2, 0.05)
    ]
    assert by_share == sorted(by_share, reverse=True)
    by_cost = [
        highest(situation(neck(twist_deg=3.0), prices=only("board_and_refret", cost, cost + 50.0)))
        for cost in (0.0, 100.0, 500.0, 5000.0)
    ]
    assert by_cost == sorted(by_cost, reverse=True)
    assert by_cost[-1] == 0.0


@pytest.mark.parametrize(
    ("deal", "match"),
    [
        ({"good_value": -1.0}, "good_value=-1"),
        ({"good_value": float("nan")}, "good_value=nan"),
        ({"good_value": True}, "good_value=True"),
        ({"good_value": "900"}, "good_value='900'"),
        ({"good_value": 900.0, "margin": -5.0}, "margin=-5"),
        ({"good_value": 900.0, "asking": float("inf")}, "asking=inf"),
        ({"good_value": 10**400}, "good_value=1000"),
    ],
)
def test_sums_that_cannot_be_are_named(deal: dict[str, float], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        Deal(**deal)


def test_a_cost_that_cannot_be_is_named() -> None:
    with pytest.raises(ValueError, match="cautious_cost=nan"):
        highest_offer(100.0, 0.0, float("nan"))
