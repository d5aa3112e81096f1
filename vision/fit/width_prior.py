"""What is believed of the board's widths before the photographs are read."""

from vision.fit.neck_model import WidthPrior
from vision.fit.string_prior import BASS_SCALE_FROM_MM
from vision.settings import StatedNeck

# Common practice, (mean, 1 sigma) of the board from edge to edge at the nut and at fret 12.
_GUITAR = WidthPrior(42.2, 0.8, 52.0, 0.9)
_BASS = WidthPrior(41.5, 2.5, 54.5, 3.0)
_WIDER = 2.5  # with a photograph from the front the widths are measured: the prior only keeps them sensible


def width_prior(stated: StatedNeck, with_front: bool) -> WidthPrior:
    """Prior of the board's widths; widths measured by the user replace what is usual."""
    usual = _BASS if stated.scale_length_mm >= BASS_SCALE_FROM_MM else _GUITAR
    factor = _WIDER if with_front else 1.0
    nut, nut_u = usual.nut_mm, usual.nut_u_mm * factor
    at_12, at_12_u = usual.at_12_mm, usual.at_12_u_mm * factor
    if stated.nut_width_mm is not None:
        nut, nut_u = stated.nut_width_mm, stated.width_u_mm
    if stated.width_at_12_mm is not None:
        at_12, at_12_u = stated.width_at_12_mm, stated.width_u_mm
    return WidthPrior(nut, nut_u, at_12, at_12_u)
