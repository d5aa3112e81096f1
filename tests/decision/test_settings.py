"""Stored settings come back checked."""

import pytest

from app.decision.settings import DecisionSettings, settings_from


def test_a_record_keeps_whole_numbers_as_floats() -> None:
    assert settings_from({"spot_frets_max": 3.0, "dearest_share": 0.2}) == DecisionSettings(
        spot_frets_max=3, dearest_share=0.2
    )
    assert settings_from({}) == DecisionSettings()


@pytest.mark.parametrize(
    ("stored", "match"),
    [
        ({"luck": 1.0}, "setting 'luck'"),
        ({"spot_frets_max": 2.5}, r"spot_frets_max=2\.5"),
        ({"spot_frets_max": True}, "spot_frets_max=True"),
        ({"samples": 1e12}, "samples=1000000000000"),
        ({"samples": 10.0}, "samples=10"),
        ({"dearest_share": "0.5"}, r"dearest_share='0\.5'"),
        ({"certain_chance": float("nan")}, "certain_chance=nan"),
        ({"seed": float("inf")}, "seed=inf"),
        ({"twist_beyond_repair_deg": -1.0}, r"twist_beyond_repair_deg=-1\.0"),
    ],
)
def test_a_setting_that_cannot_be_is_named(stored: dict[str, object], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        settings_from(stored)
