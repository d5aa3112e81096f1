"""The tunings a guitar may be found in, and how far below pitch each lies."""

TUNINGS = ("to pitch", "half a step down", "a whole step down", "one and a half steps down", "two steps down", "slack")
SLACK = TUNINGS[-1]


def semitones_down(tuning: str) -> int:
    """Semitones below pitch.

    Raises
    ------
    ValueError : tuning is none of TUNINGS, or slack, which has no pitch.
    """
    if tuning not in TUNINGS or tuning == SLACK:
        raise ValueError(f"tuning={tuning!r:.60} is none of {', '.join(TUNINGS[:-1])}")
    return TUNINGS.index(tuning)


def lowest_string_hz(tuning: str, at_pitch_hz: float) -> float | None:
    """Pitch of the lowest string in this tuning (equal temperament), None when it is slack.

    Raises ValueError as `semitones_down`.
    """
    return None if tuning == SLACK else at_pitch_hz * 2.0 ** (-semitones_down(tuning) / 12.0)
