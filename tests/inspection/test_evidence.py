"""Evidence is weighed by likelihood ratio, never as proof."""

import math

import pytest

from app.inspection.checks import CHECKS, read_results
from app.inspection.evidence import (
    COMMON_PIECES,
    RATIO_CAP,
    WOULD_SETTLE,
    Piece,
    combined_ratio,
    ratio_words,
    weigh_evidence,
)


def test_nothing_looked_at_says_nothing() -> None:
    assert weigh_evidence(read_results({})) == ()


def test_one_piece_counts_in_full() -> None:
    (weight,) = weigh_evidence(read_results({"refret_marks": "look closer"}))
    assert (weight.claim, weight.ratio) == ("refretted", pytest.approx(6.0, rel=0, abs=1e-12))
    assert weight.words == "speaks weakly for it"
    assert weight.settles == WOULD_SETTLE["refretted"]


def test_further_pieces_count_by_their_root() -> None:
    assert combined_ratio((8.0, 4.0)) == pytest.approx(16.0, rel=0, abs=1e-12)
    assert combined_ratio((4.0, 8.0)) == pytest.approx(16.0, rel=0, abs=1e-12)
    assert combined_ratio((10.0, 0.25)) == pytest.approx(5.0, rel=0, abs=1e-12)
    assert combined_ratio(()) == 1.0


def test_all_faults_together_are_still_no_proof() -> None:
    weights = weigh_evidence(read_results({check.id: "fault" for check in CHECKS}))
    assert {weight.claim for weight in weights} == set(WOULD_SETTLE)
    for weight in weights:
        assert weight.ratio <= RATIO_CAP
        assert weight.words in ("speaks moderately for it", "speaks weakly for it")
    assert combined_ratio((100.0,) * 9) == RATIO_CAP
    assert combined_ratio((0.01,) * 9) == pytest.approx(1.0 / RATIO_CAP, rel=0, abs=1e-12)


def test_all_fine_speaks_against_change() -> None:
    weights = weigh_evidence(read_results({check.id: "fine" for check in CHECKS}))
    assert len(weights) == len(WOULD_SETTLE)
    assert all(weight.ratio < 1.0 for weight in weights)


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (1.0, "says nothing either way"),
        (1.9, "says nothing either way"),
        (0.6, "says nothing either way"),
        (2.0, "speaks weakly for it"),
        (0.4, "speaks weakly against it"),
        (10.0, "speaks moderately for it"),
        (100.0, "speaks moderately for it"),
        (0.05, "speaks moderately against it"),
    ],
)
def test_words_follow_the_scale(ratio: float, words: str) -> None:
    # ENFSI guideline for evaluative reporting, 2015: 2-10 weak, 10-100 moderate [from memory].
    assert ratio_words(ratio) == words


def test_worse_never_speaks_less_for_the_claim_where_marks_are_its_trace() -> None:
    for piece in COMMON_PIECES:
        if piece.check_id != "fret_wear":  # worn frets speak against new ones
            assert piece.fine <= 1.0 <= piece.look_closer <= piece.fault


def test_misuse_is_named() -> None:
    with pytest.raises(ValueError, match="fault=1000"):
        Piece("nut", "refretted", 1.0, 1.0, 1000.0)
    with pytest.raises(ValueError, match="check_id='halo'"):
        Piece("halo", "refretted", 1.0, 1.0, 1.0)
    with pytest.raises(ValueError, match="ratio=0"):
        combined_ratio((0.0,))
    with pytest.raises(ValueError, match="ratio=nan"):
        ratio_words(math.nan)
