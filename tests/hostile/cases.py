"""One case of the fuzz run: a file made from (seed, number), and what the program must do with it.

`CaseError` is raised where a promise is broken; every other exception is a defect as well.
"""

import io
import json
from collections.abc import Callable, Mapping

import numpy as np
from PIL import ExifTags, Image

from app.contract import outcome_to_contract
from app.contract_reading import outcome_from_contract
from app.files import overlay_names
from app.record.import_inspection import read_export
from app.record.inspection import Inspection
from app.record.privacy import without_location
from app.record.problems import ExchangeProblem, PhotoProblem
from app.report.content import gather
from app.wording import MILLIMETRES
from tests.hostile.documents import damaged_contract, damaged_export
from tests.hostile.mutations import mutated
from tests.hostile.originals import OTHERS, PICTURES, drawing, originals
from tests.record.records import WHEN
from vision.measure import measure_neck
from vision.photo import Photograph, Unreadable, decode_photograph
from vision.photo.quiet import quiet_warnings
from vision.results import Measured
from vision.settings import StatedNeck, Thresholds

Case = Callable[[int, int], str]  # seed and number of a file to what became of it
STATED = StatedNeck(647.7, 22)
_WEIGHTS: Mapping[str, float] = {
    "JPEG": 20, "PNG": 14, "WebP": 12, "HEIF": 12, "TIFF": 12,
    "GIF": 1, "BMP": 1, "SVG": 1, "PDF": 1, "ZIP": 1, "text": 1,
    "drawing": 2, "import file": 12, "contract": 10, "file name": 1,
}  # fmt: skip
KINDS = tuple(_WEIGHTS)
_MEASURED_SHARE = 1 / 8  # of the pictures that decode: looking for a neck takes far longer than decoding
_CLEANED_SHARE = 1 / 4


class CaseError(AssertionError):
    """A file that was not refused as it should be, or a refusal without words."""


def kind_of(seed: int, number: int) -> str:
    """The kind of file that the case of this number opens."""
    shares = np.array(list(_WEIGHTS.values()), dtype=np.float64)
    return str(np.random.default_rng([seed, number, 0]).choice(KINDS, p=shares / shares.sum()))


def run_case(seed: int, number: int) -> str:
    """Make the file of this number, open it as the program would, and return what became of it."""
    kind = kind_of(seed, number)
    rng = np.random.default_rng([seed, number, 1])
    if kind == "import file":
        return open_import(damaged_export(rng))
    if kind == "contract":
        return open_contract(damaged_contract(rng))
    if kind == "file name":
        return _name_overlays(rng)
    data = drawing(rng) if kind == "drawing" else picture_file(kind, rng)
    if rng.random() < _CLEANED_SHARE:
        clean_picture(data)
    return open_picture(data, measured=kind == "drawing" or rng.random() < _MEASURED_SHARE)


def picture_file(kind: str, rng: np.random.Generator) -> bytes:
    """A mutated file of a kind in PICTURES or OTHERS."""
    if kind not in PICTURES + OTHERS:
        raise ValueError(f"kind={kind!r} is no kind of file")
    files = originals(kind)
    return mutated(files[int(rng.integers(len(files)))], kind, rng)


def open_picture(data: bytes, *, measured: bool) -> str:
    """Decode, and look for a neck where asked; there is none in any of these pictures."""
    photo = decode_photograph(data, "hostile")
    if isinstance(photo, Unreadable):
        check_words(photo.reason, photo.advice)
        return f"refused: {photo.code}"
    if photo.rgb.dtype != np.uint8 or photo.rgb.ndim != 3 or photo.rgb.shape[2] != 3:
        raise CaseError(f"pixels of shape {photo.rgb.shape} {photo.rgb.dtype}")
    if photo.focal_prior_px is not None and not 0 < photo.focal_prior_px < 1e7:
        raise CaseError(f"focal_prior_px={photo.focal_prior_px!r}")
    if not measured:
        return "decoded"
    return measure_picture(photo)


def measure_picture(photo: Photograph) -> str:
    """Measure a picture that shows no neck: it must be refused in words."""
    outcome = measure_neck([photo], STATED)
    if isinstance(outcome, Measured):
        raise CaseError(f"measured: relief {outcome.bass.relief_mm} mm")
    check_words(outcome.reason, outcome.advice)
    for result in outcome.photos:
        check_words(result.reason, result.advice)
    return "decoded, no neck"


def clean_picture(data: bytes) -> None:
    """Free a picture of its location, or refuse to let it out."""
    try:
        clean = without_location(data)
    except PhotoProblem as problem:
        check_words(problem.reason, problem.advice)
        return
    try:
        with quiet_warnings(), Image.open(io.BytesIO(clean.data)) as image:
            position = dict(image.getexif().get_ifd(ExifTags.IFD.GPSInfo))
    except Exception:  # what was damaged before may still be
        return
    if position:
        raise CaseError(f"a position was let out: {position!r:.100}")


def open_import(data: bytes) -> str:
    """Read an import file; one that is accepted must hold nothing that a page could stumble over."""
    try:
        incoming = read_export(data)
    except ExchangeProblem as problem:
        check_words(problem.reason, problem.advice)
        return "refused"
    check_shown(incoming.inspection)
    return "accepted"


def check_shown(inspection: Inspection) -> None:
    """Everything of an accepted inspection can be read, judged and gathered for the page."""
    for sighting in inspection.sightings:
        if sighting.measurement is not None:
            outcome_from_contract(sighting.measurement.contract)
    gather(inspection, "0.1.0", WHEN, MILLIMETRES)


def open_contract(document: object) -> str:
    """Read a measurement's document; what is accepted can be judged and written again."""
    try:
        outcome = outcome_from_contract(document)  # type: ignore[arg-type]
    except ValueError as error:
        if not str(error):
            raise CaseError("refused without words") from error
        return "refused"
    written = outcome_to_contract(outcome, Thresholds(), "0.1.0")
    json.dumps(written, allow_nan=False)
    return f"read, {outcome.status}"


def _name_overlays(rng: np.random.Generator) -> str:
    letters = np.array(list('abc/\\.:*?"<>|\x00\n\u202e\u00e4 ~$-_'))
    names = ["".join(rng.choice(letters, int(rng.integers(0, 300)))) for _ in range(5)]
    made = overlay_names(names)
    if len({name.casefold() for name in made}) != len(names):
        raise CaseError(f"two drawings under one name: {made!r:.200}")
    if any(set(name) & set('/\\\x00\n:*?"<>|') or len(name) > 100 or name.startswith(".") for name in made):
        raise CaseError(f"a file name that does harm: {made!r:.200}")
    return "named"


def check_words(reason: str | None, advice: str | None) -> None:
    """A refusal says why and what to do, in words and not in the language of the program."""
    for words in (reason, advice):
        if not words or len(words.split()) < 3:
            raise CaseError(f"refused with reason={reason!r:.100}, advice={advice!r:.100}")
        if any(mark in words for mark in ("Traceback", "Error", "<class", "0x", "errno")):
            raise CaseError(f"not plain words: {words!r:.200}")
