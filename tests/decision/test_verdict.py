"""Rules that end the deal, and the four answers with their reasons."""

import dataclasses

import pytest

from app.decision.rules import RULES, broken_rules, chance_above
from app.decision.situation import Deal, Situation
from app.decision.verdict import Verdict, decide
from app.inspection.facts import RefusedFacts
from tests.decision.situations import all_fine, situation
from tests.inspection.necks import neck, single

SLACK = {"state": "fine", "readings": {"rod_position": "slack", "rod_type": "single-action"}}
AT_END = {"state": "fault", "readings": {"rod_position": "at its end"}}
BREAKS = {
    "rod_nut_stripped": situation(checks=all_fine(rod_nut_stripped="fault")),
    "rod_used_up": situation(neck(0.6), all_fine(rod_travel=AT_END)),
    "back_bow_rod_slack": situation(neck(-0.3), all_fine(rod_travel=SLACK)),
    "neck_break": situation(checks=all_fine(neck_crack="fault")),
    "twist_beyond_repair": situation(neck(twist_deg=-2.6)),
    "loose_neck": situation(checks=all_fine(neck_plate="fault", tilt_screw="fault")),
    "marks_contradict": situation(checks=all_fine(marks_inside="fault")),
}


def test_every_rule_has_its_case() -> None:
    assert [rule.id for rule in RULES] == list(BREAKS)


@pytest.mark.parametrize("rule_id", list(BREAKS))
def test_a_rule_ends_the_deal_when_on_and_not_when_off(rule_id: str) -> None:
    found = BREAKS[rule_id]
    deal = Deal(1000.0, 0.0, 1.0)  # nearly a gift
    on = decide(found, deal, {rule_id: True})
    assert on.answer == "walk away"
    assert [item.rule.id for item in on.broken] == [rule_id]
    assert on.reasons[0].text.startswith(on.broken[0].rule.title)
    off = decide(found, deal, {rule_id: False})
    assert off.answer == "buy"
    assert off.broken == ()


def test_a_good_guitar_breaks_no_rule() -> None:
    assert broken_rules(situation(), {rule.id: True for rule in RULES}) == ()


@pytest.mark.parametrize(
    "found",
    [
        situation(neck(0.6), all_fine()),  # the rod still has travel
        situation(neck(0.33, 0.05), all_fine(rod_travel=AT_END)),  # not sure enough
        situation(neck(-0.3), all_fine()),  # nobody found the rod slack
        situation(neck(-0.08, 0.05), all_fine(rod_travel=SLACK)),
        situation(neck(twist_deg=2.2, twist_u_deg=0.3)),
        situation(checks=all_fine(neck_crack="look closer", rod_nut_stripped="look closer")),
        Situation(RefusedFacts("No neck.", ""), all_fine(rod_travel=SLACK)),
    ],
)
def test_a_rule_wants_near_certainty(found: Situation) -> None:
    assert broken_rules(found) == ()


def test_chance_above_a_limit() -> None:
    assert chance_above(1.0, 0.1, 1.0) == 0.5
    assert chance_above(1.1, 0.1, 1.0) == pytest.approx(0.841345, abs=1e-6, rel=0)  # normal distribution, one sigma
    assert (chance_above(1.1, 0.0, 1.0), chance_above(0.9, 0.0, 1.0), chance_above(1.0, 0.0, 1.0)) == (1.0, 0.0, 0.0)


def test_unknown_switches_are_misuse() -> None:
    with pytest.raises(ValueError, match="rule 'colour'"):
        broken_rules(situation(), {"colour": True})
    with pytest.raises(ValueError, match="rule neck_break must be switched"):
        broken_rules(situation(), {"neck_break": 1})  # type: ignore[dict-item]


def test_a_good_guitar_at_a_fair_price_is_bought() -> None:
    verdict = decide(situation(), Deal(800.0, 100.0, 700.0))
    assert verdict.answer == "buy"
    assert "700 EUR" in verdict.text
    (reason,) = verdict.reasons
    assert reason.text.startswith("Nothing found")


def test_too_dear_is_haggled_over() -> None:
    verdict = decide(situation(), Deal(800.0, 100.0, 800.0))
    assert verdict.answer == "negotiate"
    assert "up to 700 EUR" in verdict.text


def test_sums_are_written_as_on_the_rest_of_the_page() -> None:
    assert "up to 1\N{NARROW NO-BREAK SPACE}400 EUR" in decide(situation(), Deal(1500.0, 100.0, 1500.0)).text


def test_far_too_dear_is_left() -> None:
    assert decide(situation(), Deal(800.0, 100.0, 1000.0)).answer == "walk away"


def test_without_an_asking_price_the_offer_is_named() -> None:
    assert decide(situation(), Deal(800.0, 100.0)).answer == "negotiate"
    assert decide(situation(), Deal(80.0, 100.0)).answer == "walk away"


@pytest.mark.parametrize("curve", [None, RefusedFacts("The view is too low.", "Raise the camera.")])
def test_an_unmeasured_neck_asks_for_photographs(curve: RefusedFacts | None) -> None:
    verdict = decide(Situation(curve, all_fine()), Deal(800.0, 100.0, 1.0))
    assert verdict.answer == "take better photographs"
    assert "Raise the camera." in verdict.text if curve else "photograph it" in verdict.text


def test_a_broken_rule_needs_no_photograph() -> None:
    assert decide(Situation(None, all_fine(neck_crack="fault")), Deal(800.0, 100.0, 1.0)).answer == "walk away"


def test_an_unsure_figure_that_decides_asks_for_photographs() -> None:
    unsure = situation(neck(twist_deg=0.7, twist_u_deg=0.4))
    verdict = decide(unsure, Deal(800.0, 100.0, 690.0))
    assert verdict.answer == "take better photographs"
    assert verdict.text.endswith(unsure.curve.photo_advice)  # type: ignore[union-attr]
    assert verdict.offer.highest < 690.0 <= verdict.offer.highest_if_sharp == 700.0
    assert decide(unsure, Deal(800.0, 100.0, 300.0)).answer == "buy"  # cheap enough whatever it turns out to be
    assert decide(unsure, Deal(800.0, 100.0, 930.0)).answer == "take better photographs"
    assert decide(unsure, Deal(800.0, 100.0, 2000.0)).answer == "walk away"


def test_better_photographs_are_not_asked_for_when_the_fault_is_plain() -> None:
    plain = situation(neck(twist_deg=1.3, twist_u_deg=0.3))
    assert decide(plain, Deal(800.0, 100.0, 690.0)).answer != "take better photographs"


def money(verdict: Verdict) -> list[float]:
    return [reason.money for reason in verdict.reasons if reason.money is not None]


def test_reasons_are_ranked_by_what_they_cost() -> None:
    found = situation(neck(0.6, deviation=single(7, 0.2)), all_fine(nut="fault", pots="look closer"))
    verdict = decide(found, Deal(800.0, 100.0, 700.0))
    sums = money(verdict)
    assert len(sums) >= 4
    assert sums == sorted(sums, reverse=True)
    assert sums[0] > 0.0
    names = [reason.text.split(",")[0] for reason in verdict.reasons]
    assert "Nut filled" in names
    assert not any(name.startswith("Nothing found") for name in names)


def test_a_price_above_the_worth_is_a_reason_of_its_own() -> None:
    (reason,) = [r for r in decide(situation(), Deal(800.0, 0.0, 1000.0)).reasons if r.money is not None]
    assert (reason.text, reason.money) == ("The asking price is above the worth in good order.", 200.0)


def test_a_repair_says_what_calls_for_it() -> None:
    found = situation(neck(twist_deg=1.3), all_fine(nut="look closer"))
    why = {called.repair.id: called.why for called in decide(found, Deal(800.0)).chances.repairs}
    assert why["board_and_refret"] == ("twist, chance 100 %",)
    assert why["nut"] == ("nut: look closer",)
    unseen = decide(Situation(None, all_fine()), Deal(800.0)).chances.repairs
    assert {called.why for called in unseen} == {("the neck is not measured",)}


def test_what_was_not_looked_at_is_one_reason_with_its_price() -> None:
    verdict = decide(situation(checks=all_fine(nut="not checked", bridge="not checked")), Deal(800.0, 100.0, 700.0))
    (reason,) = [r for r in verdict.reasons if r.money is not None]
    assert reason.text.startswith("2 of ")
    shown = [round(sum_) for sum_ in (verdict.offer.highest_if_checked, verdict.offer.highest)]
    assert reason.money == shown[0] - shown[1]  # as a reader reckons
    assert verdict.offer.highest_if_checked == pytest.approx(700.0, abs=0.1, rel=0)
    assert "Look at the rest first" in verdict.text
    assert {called.seen for called in verdict.chances.repairs if called.probability > 0.01} == {False}
    assert decide(situation(), Deal(800.0)).offer.highest_if_checked == decide(situation(), Deal(800.0)).offer.highest


def test_an_answer_is_the_same_every_time() -> None:
    found = situation(neck(0.28, 0.1, twist_deg=0.8, twist_u_deg=0.3))
    assert decide(found, Deal(800.0, 50.0, 600.0)) == decide(found, Deal(800.0, 50.0, 600.0))
    assert dataclasses.is_dataclass(decide(found, Deal(800.0)))
