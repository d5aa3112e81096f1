"""Wire left and levelling jobs left."""

import pytest

from app.inspection.crowning import COMMON_WIRE, CrowningSettings, wire_left


def test_new_wire_takes_the_jobs_the_trade_counts() -> None:
    # Common practice: slim wire about two jobs in its life, medium-jumbo about three.
    jobs = {wire.name: wire_left(wire.new_height_mm, 0.0).jobs for wire in COMMON_WIRE}
    assert (jobs["slim"], jobs["medium-jumbo"]) == (2, 3)
    assert list(jobs.values()) == sorted(jobs.values())


def test_a_worn_fret_is_reckoned_by_hand() -> None:
    # 1.00 - 0.09 dent - 0.03 spare = 0.88; 0.13 above 0.75 is one more job of 0.12 after the present one.
    left = wire_left(1.00, 0.09)
    assert left.height_after_mm == pytest.approx(0.88, abs=1e-12, rel=0)
    assert (left.jobs_low, left.jobs, left.jobs_high) == (1, 2, 2)
    assert wire_left(1.00, 0.09, CrowningSettings(height_u_mm=0.0)).jobs_low == 2  # nothing to be unsure of
    assert left.height_after_u_mm == pytest.approx(2**0.5 * 0.03, abs=1e-12, rel=0)


def test_a_fret_too_low_is_a_refret() -> None:
    left = wire_left(0.80, 0.15)
    assert left.jobs == 0
    assert left.height_after_mm == pytest.approx(0.62, abs=1e-12, rel=0)


def test_deeper_dents_and_lower_wire_never_leave_more_jobs_than_before() -> None:
    after = [wire_left(1.2, dent / 100.0).height_after_mm for dent in range(0, 60, 5)]
    assert after == sorted(after, reverse=True)
    jobs = [wire_left(height / 100.0, 0.05).jobs for height in range(60, 160, 5)]
    assert jobs == sorted(jobs)
    assert jobs[0] == 0
    assert jobs[-1] > 3


@pytest.mark.parametrize(
    ("height", "dent", "name"),
    [
        (float("nan"), 0.0, "height_mm"),
        (-1.0, 0.0, "height_mm"),
        (1.0, float("inf"), "dent_mm"),
        (1.0, 1.2, "dent_mm"),
        (1.0, -0.1, "dent_mm"),
        ("1", 0.0, "height_mm"),
    ],
)
def test_misuse_is_named(height: float, dent: float, name: str) -> None:
    with pytest.raises(ValueError, match=name):
        wire_left(height, dent)


def test_a_job_must_take_something() -> None:
    with pytest.raises(ValueError, match="usual_dent_mm=0"):
        CrowningSettings(usual_dent_mm=0.0)
