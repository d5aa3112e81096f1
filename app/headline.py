"""The result in one line of plain words, and one sentence on what it means for a decision."""

from app.wording import LengthUnit
from vision.findings import Finding, shape_of
from vision.results import Measured
from vision.settings import Thresholds

SEVERITY_ORDER = ("fault", "look closer", "cannot tell", "fine")
_BOW_WORDS = {
    ("forward bow", "fine"): "A usual forward bow",
    ("forward bow", "look closer"): "Forward bow at the edge of the usual or above it",
    ("forward bow", "fault"): "Too much forward bow",
    ("back-bow", "look closer"): "Perhaps a slight back-bow",
    ("back-bow", "fault"): "Back-bow: the neck bends backwards",
}
_SHAPE_WORDS = {
    "straight": "A straight neck",
    "forward bow": "Forward bow",
    "back-bow": "Back-bow",
    "S-curve": "S-curve: the neck bends both ways",
    "cannot tell": "The bow cannot be told from these photographs",
}


def most_serious_first(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """The findings sorted by severity, otherwise in their order."""
    return tuple(sorted(findings, key=lambda finding: SEVERITY_ORDER.index(finding.severity)))


def headline(measured: Measured, findings: tuple[Finding, ...], thresholds: Thresholds) -> str:
    """Bow, twist, ends and frets in a few words, such as "A usual forward bow, no twist, frets in line"."""
    codes = {finding.code for finding in findings}
    shape = shape_of(measured, thresholds)
    of_shape = [f for f in findings if f.code in ("forward_bow", "back_bow", "straight", "s_curve")]
    worst = most_serious_first(tuple(of_shape))[0].severity if of_shape else "cannot tell"
    parts = [_BOW_WORDS.get((shape, worst), _SHAPE_WORDS[shape])]
    twist = next((finding for finding in findings if finding.code == "twist"), None)
    if twist is not None:
        parts.append("twisted" if twist.severity == "fault" else "a slight twist")
    else:
        parts.append("no twist to notice" if "no_twist" in codes else "twist cannot be told")
    if "sides_differ" in codes:
        parts.append("unequal sides")
    if "rise" in codes:
        parts.append("last frets rising")
    if "hump" in codes:
        parts.append("a hump at the body")
    out = {fret for f in findings if f.code in ("fret_high", "fret_low") for fret in f.frets}
    if out:
        parts.append("one fret out of line" if len(out) == 1 else f"{len(out)} frets out of line")
    elif "frets_in_line" in codes:
        parts.append("frets in line")
    return ", ".join(parts)


def decision(findings: tuple[Finding, ...]) -> str:
    """What the findings mean for buying, in one sentence; careful when something could not be told."""
    faults = [f.title for f in findings if f.severity == "fault"]
    closer = [f.title for f in findings if f.severity == "look closer"]
    unknown = any(f.severity == "cannot tell" for f in findings)
    if faults:
        text = f"Weigh this before you buy: {_listed(faults)}."
    elif closer:
        text = f"Worth a closer look before you decide: {_listed(closer)}."
    elif any(f.code == "cannot_tell_bow" for f in findings):
        return "This is not enough to judge the neck: what could not be told is listed below, with what would help."
    else:
        text = "Nothing was found that speaks against this neck."
    return text + (" Some things could not be told from these photographs; they are listed below." if unknown else "")


def figures(measured: Measured, thresholds: Thresholds, unit: LengthUnit) -> str:
    """Both reliefs and the usual range in one sentence."""
    low, high = thresholds.wanted_relief_low_mm, thresholds.wanted_relief_high_mm
    return (
        f"Relief {unit.text(measured.bass.relief_mm, sign=True)} under the bass string and "
        f"{unit.text(measured.treble.relief_mm, sign=True)} under the treble string; "
        f"{unit.number(low)} to {unit.text(high)} is wanted."
    )


def _listed(titles: list[str]) -> str:
    """Titles inside a sentence, at most four of them; what both sides share is said once."""
    words: list[str] = []
    for title in titles:
        both = _on_both_sides(title)
        twins = [other for other in titles if other != title and both == _on_both_sides(other)]
        text = both if twins else title
        text = text[0].lower() + text[1:]
        if text not in words:
            words.append(text)
    shown = words if len(words) <= 4 else [*words[:3], f"{len(words) - 3} more"]
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


def _on_both_sides(title: str) -> str:
    return title.replace("the bass side", "both sides").replace("the treble side", "both sides")
