"""Strings and edges that the fit found to contradict everything else: they follow something else in the picture."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.fit.joint import JointFit
from vision.fit.observations import EdgeData, PhotoData, StringData

Array = NDArray[np.float64]

_STRANGE_STRING = 5.0  # misfit with all other data: of 940 strings in photographs of known necks 98 % stay below 2.5
_EDGE_OUTLIER_MM = 0.25


def without_contradictions(photos: tuple[PhotoData, ...], fit: JointFit) -> tuple[PhotoData, ...]:
    """The photographs of a fit without what contradicts the others; as they were where nothing does.

    Of strings the strangest alone is dropped, since it makes others look strange: they are judged again by the next
    fit. What was followed there is a shadow beside the string, or what it mirrors. Wrong all along, it bends a few
    unknowns to itself and leaves no residual, but turns a camera.
    """
    misfit = np.nan_to_num(np.array(fit.string_misfit))
    strangest = max(float(misfit.max(initial=0.0)), _STRANGE_STRING)
    return tuple(
        replace(p, strings=_without(p.strings, np.flatnonzero(own >= strangest)), edges=_of_one_board(p.edges, offset))
        for p, own, offset in zip(photos, misfit, fit.edge_offset_mm, strict=True)
    )


def _without(data: StringData, strings: NDArray[np.int64]) -> StringData:
    keep = ~np.isin(data.string, strings)
    return StringData(data.string[keep], data.point_px[keep], data.normal[keep], data.u_px[keep])


def _of_one_board(data: EdgeData, offset_mm: Array) -> EdgeData:
    """Drop edges that stand elsewhere than in the other photographs: shadows, or the neck's back below the board."""
    keep = np.abs(offset_mm)[data.side] < _EDGE_OUTLIER_MM
    return replace(
        data,
        gap=data.gap[keep],
        share=data.share[keep],
        side=data.side[keep],
        point_px=data.point_px[keep],
        normal=data.normal[keep],
        u_px=data.u_px[keep],
    )
