"""The benchmark's own arithmetic: truth of a shorter span, copies that keep what the camera recorded, the table."""

import io

import numpy as np
import pytest
from PIL import Image

from tests.benchmark.known_neck import spoilt, truth_up_to
from tests.benchmark.validity_views import covered, table

EXIF_IFD, FOCAL_35MM, ORIENTATION = 0x8769, 0xA405, 0x0112


def _parabola(frets: int) -> dict[str, object]:
    """Gaps 4 h s (1 - s) below the chord of fret 1 and the last, s the share of the way between them."""
    z = 1.0 - 2.0 ** (-np.arange(1, frets + 1) / 12.0)
    s = (z - z[0]) / (z[-1] - z[0])
    gap = 4.0 * 0.3 * s * (1.0 - s)
    sides = {"bass": {"neck_gap_mm": list(gap)}, "treble": {"neck_gap_mm": list(-gap)}}
    return {"frets": frets, "sides": sides, "neck_roll_deg": list(0.2 * s)}


def test_a_parabola_cut_at_fret_12_keeps_its_curvature_below_the_shorter_chord() -> None:
    known = _parabola(24)
    z = 1.0 - 2.0 ** (-np.arange(1, 25) / 12.0)
    span = (z[11] - z[0]) / (z[-1] - z[0])
    s = (z[:12] - z[0]) / (z[-1] - z[0])
    expected = float(np.max(4.0 * 0.3 * s * (span - s)))  # chord of 4 h s (1 - s) from 0 to `span`
    truth = truth_up_to(known, 12)
    assert truth.relief_mm["bass"] == pytest.approx(expected, rel=0, abs=1e-12)
    assert truth.relief_mm["treble"] == pytest.approx(-expected, rel=0, abs=1e-12)
    assert truth.twist_deg == pytest.approx(0.2 * span, rel=0, abs=1e-12)


def test_the_whole_neck_keeps_its_own_truth_and_more_frets_than_there_are_is_misuse() -> None:
    known = _parabola(24)
    assert truth_up_to(known, 24).relief_mm["bass"] == pytest.approx(0.3, rel=0, abs=2e-3)
    with pytest.raises(ValueError, match=r"frets=25 is outside 2 to 24"):
        truth_up_to(known, 25)


def test_a_spoilt_copy_is_upright_and_keeps_the_focal_length_unless_told_otherwise() -> None:
    image = Image.new("RGB", (80, 60))
    image.paste((250, 20, 20), (0, 0, 20, 60))  # left as stored: on top when upright
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif.get_ifd(EXIF_IFD)[FOCAL_35MM] = 77
    stored = io.BytesIO()
    image.save(stored, "JPEG", exif=exif)
    for keep in (True, False):
        copy = Image.open(io.BytesIO(spoilt(stored.getvalue(), np.ascontiguousarray, keep_camera_record=keep)))
        assert copy.size == (60, 80)
        assert copy.getpixel((30, 10))[0] > 200
        assert copy.getpixel((30, 70))[0] < 30
        assert copy.getexif().get(ORIENTATION, 1) == 1
        assert copy.getexif().get_ifd(EXIF_IFD).get(FOCAL_35MM) == (77 if keep else None)


def test_the_cloth_hides_the_frets_past_the_last_visible_one_and_no_others() -> None:
    y = 20.0 + 15.0 * np.arange(12)
    sides = {name: {"fret_top_px": np.stack([np.full(12, x), y], axis=-1)}
             for name, x in (("bass", 60.0), ("treble", 100.0))}
    out = covered({"sides": sides}, 7, np.zeros((260, 160, 3), dtype=np.uint8))
    for index in range(12):
        for x in (60, 80, 100):
            assert (out[int(y[index]), x].sum() > 0) == (index >= 7)


def test_the_table_tells_refusals_from_errors_and_counts_within_two_u() -> None:
    common = {"group": "g", "number": 1.0, "front_deg": None, "used": ["bass"], "left_out": {}, "flags": []}
    good = common | {"value": "a", "status": "measured", "relief": {"bass": [0.02, 0.02], "treble": [-0.06, 0.02]},
                     "twist": [0.01, 0.02]}
    refused = common | {"value": "b", "status": "refused", "code": "c", "reason": "too dark"}
    text = table([good, refused])
    assert "| a | measured | +0.020 | 0.020 | +1.0 | -0.060 | 0.020 | -3.0 | +0.010 | 0.020 | +0.5 |" in text
    assert "| b | refused: too dark |" in text
    assert "1 of 2 measured; relief error rms 0.045 mm, within 2 u 50 %, worst 3.0 u; twist within 2 u 100 %" in text
    cells = {line.count("|") for line in text.splitlines() if line.startswith("|")}
    assert cells == {13}
