"""String tension and what a slack neck would show; the beam itself is checked in tests/references."""

import itertools
import math

import pytest

from app.inspection.tuning import USUAL_SET, NeckStiffness, TunedString, bow_mm, relief_at_pitch, tension_n

SCALE_MM, SPAN_MM = 648.0, 430.0


def test_tension_of_a_plain_string() -> None:
    # Mersenne; steel 7850 kg/m3 [from memory], 0.254 mm at 329.63 Hz over 648 mm, worked.
    assert tension_n(TunedString(329.63, 0.254), SCALE_MM) == pytest.approx(72.59, abs=0.005, rel=0)


def test_tension_of_a_set_is_what_is_usual() -> None:
    pull = math.fsum(tension_n(string, SCALE_MM) for string in USUAL_SET)
    assert pull == pytest.approx(463.0, abs=46.0, rel=0)  # common practice, wound +-10 %


def test_at_pitch_there_is_nothing_to_add() -> None:
    estimate = relief_at_pitch(SCALE_MM, SPAN_MM)
    assert (estimate.added_low_mm, estimate.added_high_mm) == (0.0, 0.0)
    assert "at pitch" in estimate.text


def test_a_whole_step_down_drops_a_fifth() -> None:
    for string in USUAL_SET:
        ratio = tension_n(string, SCALE_MM, 2.0) / tension_n(string, SCALE_MM)
        assert ratio == pytest.approx(1.0 - 0.2063, abs=1e-4, rel=0)  # 2^(-1/3), worked


def test_a_slack_guitar_lacks_all_of_its_pull() -> None:
    slack = relief_at_pitch(SCALE_MM, SPAN_MM, slack=True)
    assert slack.added_low_mm < 0.3  # the references' 0.3 to 0.5 mm lies inside the stated range
    assert slack.added_high_mm > 0.5
    assert "estimate" in slack.text
    down = relief_at_pitch(SCALE_MM, SPAN_MM, 2.0)
    assert down.added_low_mm == pytest.approx(0.2063 * slack.added_low_mm, abs=1e-4, rel=0)


def test_further_down_lacks_more_and_tuned_up_has_too_much() -> None:
    added = [relief_at_pitch(SCALE_MM, SPAN_MM, semitones).added_high_mm for semitones in (0.0, 1.0, 2.0, 5.0)]
    assert all(b > a for a, b in itertools.pairwise(added))
    up = relief_at_pitch(SCALE_MM, SPAN_MM, -1.0)
    assert up.added_low_mm < up.added_high_mm < 0.0
    assert "less relief" in up.text


def test_misuse_is_named() -> None:
    with pytest.raises(ValueError, match="semitones_down=nan"):
        relief_at_pitch(SCALE_MM, SPAN_MM, float("nan"))
    with pytest.raises(ValueError, match="strings"):
        relief_at_pitch(SCALE_MM, SPAN_MM, strings=())
    with pytest.raises(ValueError, match="stiffness_high_n_m2=100"):
        NeckStiffness(200.0, 100.0)
    with pytest.raises(ValueError, match=r"diameter_mm=-0\.2"):
        tension_n(TunedString(329.63, -0.2), SCALE_MM)
    with pytest.raises(ValueError, match="stiffness_n_m2=0"):
        bow_mm(460.0, 12.0, 430.0, 0.0)
