"""A slice of the fuzz run, and every defect that the full run found, by name."""

import io
import json
import os
import struct
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from app.contract import outcome_to_contract
from app.contract_reading import outcome_from_contract
from app.files import read_photographs
from app.record.measurement_document import checked_contract
from app.record.plain_json import read_json
from app.record.privacy import CleanPicture, without_location
from app.record.problems import PhotoProblem
from tests.damaging import with_value_at
from tests.fixtures_results import measured
from tests.hostile import cases
from tests.hostile.fuzz import run, table
from tests.hostile.originals import originals
from tests.hostile.watch import Child
from vision.photo import Unreadable, decode_photograph
from vision.photo.refusal import MAX_BYTES
from vision.settings import Thresholds

SLICE = 200


def document() -> dict[str, Any]:
    read: dict[str, Any] = json.loads(json.dumps(outcome_to_contract(measured(), Thresholds(), "0.1.0")))
    return read


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def test_a_slice_of_the_run_keeps_every_promise() -> None:
    results = run(3, range(SLICE))
    assert [(r.number, r.kind, r.failure) for r in results if r.failure] == []
    became = {(r.kind, r.became) for r in results}
    assert {kind for kind, _ in became} >= {"JPEG", "PNG", "WebP", "HEIF", "TIFF", "import file", "contract"}
    assert {("JPEG", "decoded"), ("JPEG", "refused: damaged"), ("import file", "accepted")} <= became  # not all one way
    assert len(table(results).splitlines()) == 2 + len({kind for kind, _ in became})


def test_the_same_number_makes_the_same_file() -> None:
    one, other = (cases.picture_file("TIFF", np.random.default_rng([4, 2, 1])) for _ in range(2))
    assert one == other
    assert one != cases.picture_file("TIFF", np.random.default_rng([4, 3, 1]))
    with pytest.raises(ValueError, match="kind='RAW'"):
        cases.picture_file("RAW", np.random.default_rng(1))


def _crash(seed: int, number: int) -> str:
    os._exit(11)


def _hang(seed: int, number: int) -> str:
    while True:
        pass


def _swell(seed: int, number: int) -> str:
    return str(np.ones(4 * 2**20)[-1])


@pytest.mark.parametrize(
    ("case", "words"), [(_crash, "crashed, exit code 11"), (_hang, "hung for more than"), (_swell, "took more than")]
)
def test_the_watch_names_crash_hang_and_memory(case: cases.Case, words: str) -> None:
    with Child(1, case, most_seconds=0.5, most_mib=1 if case is _swell else 1536) as child:
        result = child.run(7)
        assert result.number == 7
        assert result.failure is not None
        assert words in result.failure


def test_the_watch_goes_on_after_a_crash() -> None:
    with Child(1, _crash) as child:
        assert [child.run(number).failure for number in (1, 2)] == ["crashed, exit code 11"] * 2


def test_a_refusal_must_have_plain_words() -> None:
    for reason, advice in ((None, "Take it once more."), ("", ""), ("KeyError: 'x' was raised", "Take it once more.")):
        with pytest.raises(cases.CaseError, match=r"refused with|not plain words"):
            cases.check_words(reason, advice)
    cases.check_words("the file is empty", "Choose the file again.")


@pytest.mark.parametrize(("kind", "mode"), [("WEBP", "RGB"), ("JPEG", "CMYK")])
def test_readers_that_take_much_memory_a_pixel_have_a_lower_limit(kind: str, mode: str) -> None:
    """120 million pixels took 1.9 GB as WebP and 1.6 GB in four inks."""
    result = decode_photograph(saved(Image.new(mode, (8001, 8000)), kind), "large")
    assert isinstance(result, Unreadable)
    assert result.code == "too_large"
    assert result.reason == "the picture claims 8001 x 8000 pixels; the limit is 64 million in all"


@pytest.mark.parametrize(("kind", "code"), [("RGBA;16", "too_large"), ("RGB;16", "damaged"), ("RGBA", "damaged")])
def test_deep_heif_with_transparency_has_a_lower_limit(kind: str, code: str) -> None:
    """120 million pixels of it took 1.8 GB to free of location. Only the declared size is large here."""
    samples = {"RGBA;16": 8, "RGB;16": 6, "RGBA": 4}[kind]
    file = io.BytesIO()
    pillow_heif.from_bytes(kind, (640, 640), bytes(640 * 640 * samples)).save(file, quality=40)
    data = file.getvalue().replace(b"ispe" + bytes(4) + struct.pack(">II", 640, 640), b"ispe\0\0\0\0\0\0\x1fA\0\0\x1f@")
    result = decode_photograph(data, "deep")
    assert isinstance(result, Unreadable)
    assert result.code == code
    with pytest.raises(PhotoProblem, match="cannot be read"):
        without_location(data)


def test_the_check_of_cleaned_pictures_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    data = originals("JPEG")[0]
    cases.clean_picture(data)
    monkeypatch.setattr(cases, "without_location", lambda dirty: CleanPicture(dirty, "JPEG"))
    with pytest.raises(cases.CaseError, match="a position was let out"):
        cases.clean_picture(data)


def test_a_measured_picture_would_be_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cases, "measure_neck", lambda photos, stated: measured())
    with pytest.raises(cases.CaseError, match="measured: relief"):
        cases.open_picture(originals("JPEG")[0], measured=True)


def test_no_more_of_a_file_is_read_than_the_decoder_takes(tmp_path: Path) -> None:
    """A file of any length was read whole."""
    large = tmp_path / "large.jpg"
    with large.open("wb") as file:
        file.write(b"\xff\xd8\xff")
        file.truncate(3 * MAX_BYTES)
    (data,) = read_photographs([large])
    assert len(data) == MAX_BYTES + 1
    result = decode_photograph(data, "large.jpg")
    assert isinstance(result, Unreadable)
    assert (result.code, result.reason) == ("too_many_bytes", "the file is larger than 64 MiB")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    """Opening one hung for ever."""
    pipe = tmp_path / "pipe.jpg"
    os.mkfifo(pipe)
    said: list[str] = []

    def read() -> None:
        with pytest.raises(ValueError, match=r"pipe\.jpg': it is not a file") as caught:
            read_photographs([pipe])
        said.append(str(caught.value))

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    thread.join(20)
    assert len(said) == 1
    with pytest.raises(ValueError, match="it is a folder"):
        read_photographs([tmp_path])
    with pytest.raises(ValueError, match="No such file"):
        read_photographs([tmp_path / "none.jpg"])


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("twist_deg",), 10**400, "twist_deg=1000"),  # OverflowError
        (("scale_length_mm",), "1e999", "scale_length_mm='1e999'"),  # infinity, written as no JSON
        (("bass", "relief_u_mm"), "nan", "bass relief_u_mm='nan'"),  # NaN in a measured neck
        (("treble", "gap_mm"), [True] * 22, "treble gap_mm=True"),
        (("bass", "relief_at_fret"), 3.7, r"relief_at_fret=3\.7"),
        (("photos", 0, "kind"), "side", "kind='side'"),
        (("photos", 0, "reason"), 5, "reason=5"),
        (("photos", 0, "seen", "nut_px"), ["12"], "nut_px must be a list of points"),  # text as a point
        (("photos", 0, "camera", "k1"), -1e300, r"k1=-1e\+300"),
        (("provenance", "span_frets"), [10**400, 3], "span_frets=1000"),
    ],
)
def test_a_document_with_impossible_values_is_refused_by_field(
    path: tuple[Any, ...], value: object, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        outcome_from_contract(with_value_at(document(), path, value))


def test_a_number_of_thousands_of_digits_is_refused_in_plain_words() -> None:
    """The words were Python's own, about a limit of integer string conversion."""
    for digits in ("9" * 5000, "-" + "9" * 30, "9007199254740993"):
        with pytest.raises(ValueError, match=r"^it holds a whole number beyond 2\^53$"):
            read_json(b'{"frets": ' + digits.encode() + b"}", 10_000)
    assert read_json(b'{"frets": -9007199254740992}', 100) == {"frets": -(2**53)}


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("photos", 0, "seen"), {"fret_line_px": 3}, "another kind"),
        (("provenance",), {}, "no field 'span_frets'"),
    ],
)
def test_an_import_is_refused_where_only_the_page_would_stumble(
    path: tuple[Any, ...], value: object, words: str
) -> None:
    """The import let these through, and every later look at the inspection failed."""
    assert checked_contract(document()) == document()
    with pytest.raises(ValueError, match=words):
        checked_contract(with_value_at(document(), path, value))
