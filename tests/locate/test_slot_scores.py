"""What a place of the law is taken for: a fret, the nut, a last fret in blur, or the end of the board."""

from dataclasses import replace

import numpy as np
import pytest

from vision.locate.evidence import Evidence
from vision.locate.slot_scores import score_slots

FRETS, BEFORE = 22, 6
FIRST, LAST = BEFORE, BEFORE + FRETS - 1  # indices of fret 1 and of the last


def evidence() -> Evidence:
    """22 frets as clear as can be; the six places on either side show nothing like a fret."""
    k = np.arange(1.0 - BEFORE, FRETS + 7.0)
    is_fret = (k >= 1) & (k <= FRETS)
    like, level = np.where(is_fret, 0.98, 0.1), np.where(is_fret, 0.02, 0.8)
    return Evidence(
        k, like, like, like, level, level, np.where(is_fret, 30.0, 5.0), np.where(is_fret, 1.0, 0.1), np.zeros(len(k))
    )


def changed(seen: Evidence, index: int, **values: float) -> Evidence:
    """The evidence with other values at one slot."""
    fields = {name: getattr(seen, name).copy() for name in values}
    for name, value in values.items():
        fields[name][index] = value
    return replace(seen, **fields)


def lead(seen: Evidence, *, low: bool = True, start: int = 0, count: int = 0) -> float:
    """Evidence for the true reading over one that starts `start` slots later and counts `count` frets more."""
    core = np.arange(4.0, FRETS - 3)
    slots = score_slots(seen, core, far_is_body=True, low=low)
    return slots.of_window(FIRST, FRETS) - slots.of_window(FIRST + start, FRETS + count)


def test_clear_frets_are_counted() -> None:
    for start, count in ((-1, 0), (1, 0), (0, -1), (0, 1), (-1, 1), (1, -1)):
        assert 2.0 < lead(evidence(), start=start, count=count) < 12.0


def test_a_dull_fret_between_clear_ones_does_not_end_the_neck() -> None:
    dull = changed(evidence(), FIRST + 2, alike=0.4, contrast=6.0)
    assert 2.0 < lead(dull, start=3, count=-3) < 12.0
    # Nor do two, while three are too many to be bridged.
    two = changed(dull, FIRST + 1, alike=0.4, contrast=6.0)
    three = changed(two, FIRST + 3, alike=0.4, contrast=6.0)
    assert lead(three, start=4, count=-4) < lead(two, start=4, count=-4) - 2.0


def test_the_end_of_the_board_seen_from_the_front_is_no_fret() -> None:
    end = changed(
        evidence(), LAST + 1, alike=0.45, inner=0.98, kinder=0.99, level=0.04, inner_level=0.02, contrast=30.0
    )
    assert 2.0 < lead(end, low=False, count=1) < 6.0
    # Seen low, that is how a last fret looks over which the far end is blurred.
    assert -4.0 < lead(end, low=True, count=1) < -2.0


def test_a_nut_like_a_fret_but_weak_is_hardly_evidence() -> None:
    nut = changed(evidence(), FIRST - 1, alike=0.95, inner=0.95, kinder=0.95, level=0.03, inner_level=0.02, gain=1.0)
    weak = changed(nut, FIRST - 1, gain=0.55)
    gained = lead(weak, start=-1) - lead(nut, start=-1)
    assert gained == pytest.approx(1.5 - 0.05 / 0.13, rel=0, abs=0.02)


def test_a_last_fret_drowned_by_what_lies_behind_is_no_evidence_against_it() -> None:
    unlike = changed(evidence(), LAST, alike=-0.4, inner=-0.7, kinder=-0.7, level=0.5, inner_level=0.3, contrast=30.0)
    drowned = changed(unlike, LAST, contrast=60.0)
    core = np.arange(4.0, FRETS - 3)
    assert score_slots(unlike, core, far_is_body=True, low=True).last[LAST] == pytest.approx(-3.0, rel=0, abs=1e-9)
    assert score_slots(drowned, core, far_is_body=True, low=True).last[LAST] == pytest.approx(0.0, rel=0, abs=1e-9)
    # From the front nothing lies behind the last fret.
    assert score_slots(drowned, core, far_is_body=True, low=False).last[LAST] == pytest.approx(-3.0, rel=0, abs=1e-9)


def test_a_run_of_frets_ends_where_the_contrast_falls() -> None:
    like_a_fret = {"alike": 0.85, "inner": 0.9, "kinder": 0.9, "level": 0.05, "inner_level": 0.02, "gain": 1.0}
    core = np.arange(4.0, FRETS - 3)
    for index, kind in ((LAST + 1, "last"), (FIRST - 1, "first")):
        as_clear, fallen, half_fallen = (
            float(
                getattr(
                    score_slots(
                        changed(evidence(), index, contrast=contrast, **like_a_fret), core, far_is_body=True, low=True
                    ),
                    kind,
                )[index]
            )
            for contrast in (21.0, 12.0, 16.5)
        )
        assert as_clear - fallen == pytest.approx(1.5, rel=0, abs=1e-9)
        assert as_clear - half_fallen == pytest.approx(0.75, rel=0, abs=1e-9)


def test_from_the_front_the_first_frets_may_mirror_less() -> None:
    dull = changed(evidence(), FIRST, contrast=9.0)
    core = np.arange(4.0, FRETS - 3)
    clear = score_slots(evidence(), core, far_is_body=True, low=False).first[FIRST]
    assert score_slots(dull, core, far_is_body=True, low=False).first[FIRST] == pytest.approx(clear, rel=0, abs=1e-9)


def test_places_out_of_the_picture_leave_the_scores_finite() -> None:
    seen = evidence()
    outside = {name: np.nan for name in ("alike", "inner", "kinder", "level", "inner_level", "contrast", "gain", "dot")}
    seen = changed(changed(seen, 0, **outside), 1, contrast=0.0)
    slots = score_slots(seen, np.arange(4.0, FRETS - 3), far_is_body=True, low=True)
    for scores in (slots.inside, slots.first, slots.last, slots.outside, slots.one_more):
        assert np.isfinite(scores).all()
