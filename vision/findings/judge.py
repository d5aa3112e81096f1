"""All findings of a measured neck, in the order they are read."""

from vision.findings.finding import Finding
from vision.findings.frets import fret_findings
from vision.findings.shape import bow_finding, end_findings
from vision.findings.twist import sides_finding, twist_finding
from vision.results import Measured
from vision.settings import Thresholds


def judge(measured: Measured, thresholds: Thresholds) -> tuple[Finding, ...]:
    """Turn figures into findings. Each is stated only beyond its uncertainty, or says "cannot tell".

    Always present: a bow finding for each side and a twist finding. The others appear when there is
    something to say.

    Raises
    ------
    ValueError : an argument is of another type.
    """
    if not isinstance(measured, Measured):
        raise ValueError(f"measured must be a Measured record, got {measured!r:.60}")
    if not isinstance(thresholds, Thresholds):
        raise ValueError(f"thresholds must be Thresholds, got {thresholds!r:.60}")
    sides = sides_finding(measured, thresholds)
    return (
        bow_finding(measured.bass, measured, thresholds),
        bow_finding(measured.treble, measured, thresholds),
        *((sides,) if sides is not None else ()),
        *end_findings(measured, thresholds),
        twist_finding(measured, thresholds),
        *fret_findings(measured, thresholds),
    )
