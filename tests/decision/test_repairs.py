"""The table of repairs and the user's own figures in it."""

import dataclasses

import pytest

from app.decision.repairs import EXAMPLE_REPAIRS, PriceList, Repair, with_costs
from app.inspection.checks import CHECKS


def test_the_table_is_whole() -> None:
    ids = [repair.id for repair in EXAMPLE_REPAIRS]
    assert len(set(ids)) == len(ids)
    assert PriceList().is_example
    for repair in EXAMPLE_REPAIRS:
        assert 0.0 < repair.low_cost < repair.high_cost, repair.id
        assert repair.hours > 0.0, repair.id
        assert repair.causes or repair.checks, repair.id
        assert not repair.always


def test_every_fault_that_is_no_mere_hint_has_its_repair() -> None:
    called_by = {check_id for repair in EXAMPLE_REPAIRS for check_id in repair.checks}
    assert {check.id for check in CHECKS if check.weight != "hint"} <= called_by


def test_costs_and_rows_of_ones_own() -> None:
    prices = with_costs(PriceList(), {"nut": (5.0, 6.0)}, {"own_1": ("New strings", 8.0, 8.0)}, "kr")
    by_id = {repair.id: repair for repair in prices.repairs}
    assert (by_id["nut"].low_cost, by_id["nut"].high_cost) == (5.0, 6.0)
    assert by_id["nut"].checks == ("nut",)
    assert by_id["own_1"].always
    assert (prices.currency, prices.is_example) == ("kr", False)
    assert with_costs(PriceList(), {}).currency == PriceList().currency


@pytest.mark.parametrize(
    ("edits", "match"),
    [
        ({"halo": (1.0, 2.0)}, "'halo'"),
        ({"nut": (3.0, 2.0)}, r"low_cost=3\.0 of nut"),
        ({"nut": (-1.0, 2.0)}, r"low_cost=-1\.0"),
        ({"nut": (1.0, float("inf"))}, "high_cost=inf"),
        ({"nut": (float("nan"), 2.0)}, "low_cost=nan"),
        ({"nut": ("1", 2.0)}, "low_cost='1'"),
    ],
)
def test_costs_that_cannot_be_are_named(edits: dict[str, tuple[float, float]], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        with_costs(PriceList(), edits)


def test_other_misuse_is_named() -> None:
    with pytest.raises(ValueError, match="different ids"):
        with_costs(PriceList(), {}, {"nut": ("Another", 1.0, 2.0)})
    with pytest.raises(ValueError, match="currency="):
        PriceList("a very long currency")
    with pytest.raises(ValueError, match="currency="):
        PriceList("E\x00")
    with pytest.raises(ValueError, match="unseen_chance=2"):
        dataclasses.replace(EXAMPLE_REPAIRS[0], unseen_chance=2.0)
    with pytest.raises(ValueError, match="check_id='halo'"):
        Repair("x", "x", 1.0, 2.0, 1.0, "x", checks=("halo",))
