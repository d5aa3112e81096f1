"""Changes to the sets of photographs of an inspection: pure, each returns a new inspection.

A set's measurement belongs to its photographs and to what is stated, so it leaves with any change of them; the same
question asked again finds its kept answer at once (`app.measuring`).
"""

from dataclasses import replace

from app.looking import Corners
from app.record.inspection import PHOTOS_A_SIGHTING, SIGHTINGS_MAX, Inspection, Measurement, Photo, Sighting, now_utc
from vision.settings import StatedNeck

AS_FOUND = "As found"


def with_first_sighting(inspection: Inspection) -> Inspection:
    """The inspection with at least one set of photographs, an empty one if it had none."""
    if inspection.sightings:
        return inspection
    return replace(inspection, sightings=(Sighting(AS_FOUND, now_utc(), tuning=inspection.guitar.neck.tuning),))


def with_new_sighting(inspection: Inspection, label: str, part_turn: float) -> Inspection:
    """One more, empty set, taken after part_turn of the rod (+ tighten, turns).

    Raises ValueError when there are too many or part_turn is no possible turn.
    """
    if len(inspection.sightings) >= SIGHTINGS_MAX:
        raise ValueError(f"sightings={len(inspection.sightings)}: no more than {SIGHTINGS_MAX} can be kept")
    new = Sighting(label, now_utc(), part_turn=part_turn, tuning=inspection.guitar.neck.tuning)
    return replace(inspection, sightings=(*inspection.sightings, new))


def without_sighting(inspection: Inspection, index: int) -> Inspection:
    """Without the set at index."""
    kept = tuple(s for i, s in enumerate(inspection.sightings) if i != index)
    return replace(inspection, sightings=kept)


def with_photos(inspection: Inspection, index: int, photos: tuple[Photo, ...]) -> Inspection:
    """The set at index with these photographs too; one that is already there is not added twice.

    Raises ValueError when the set would hold too many.
    """
    sighting = inspection.sightings[index]
    known = {photo.sha256 for photo in sighting.photos}
    new = tuple({photo.sha256: photo for photo in photos if photo.sha256 not in known}.values())
    if not new:
        return inspection
    if len(sighting.photos) + len(new) > PHOTOS_A_SIGHTING:
        raise ValueError(f"photos={len(sighting.photos) + len(new)}: no more than {PHOTOS_A_SIGHTING} make one set")
    return _put(inspection, index, replace(sighting, photos=(*sighting.photos, *new), measurement=None))


def without_photo(inspection: Inspection, index: int, sha256: str) -> Inspection:
    """The set at index without one photograph."""
    sighting = inspection.sightings[index]
    photos = tuple(photo for photo in sighting.photos if photo.sha256 != sha256)
    return _put(inspection, index, replace(sighting, photos=photos, measurement=None))


def with_corners(inspection: Inspection, index: int, sha256: str, corners: Corners | None) -> Inspection:
    """The set at index with corners marked by hand in one photograph, or taken back."""
    sighting = inspection.sightings[index]
    photos = tuple(replace(photo, corners=corners) if photo.sha256 == sha256 else photo for photo in sighting.photos)
    if photos == sighting.photos:
        return inspection
    return _put(inspection, index, replace(sighting, photos=photos, measurement=None))


def with_measurement(inspection: Inspection, index: int, measurement: Measurement) -> Inspection:
    """The set at index with what its photographs gave."""
    sighting = inspection.sightings[index]
    return _put(inspection, index, replace(sighting, measurement=measurement))


def with_neck_stated(inspection: Inspection, changed: Inspection) -> Inspection:
    """`changed`, its measurements dropped where what is stated about the neck is no longer what they were told."""
    if _stated(inspection) == _stated(changed):
        return changed
    return replace(changed, sightings=tuple(replace(s, measurement=None) for s in changed.sightings))


def measured_indices(inspection: Inspection) -> tuple[int, ...]:
    """The sets that gave figures, in order."""
    return tuple(
        index
        for index, sighting in enumerate(inspection.sightings)
        if sighting.measurement is not None and sighting.measurement.contract["status"] == "measured"
    )


def _stated(inspection: Inspection) -> StatedNeck | None:
    try:
        return inspection.guitar.neck.stated()
    except ValueError:
        return None


def _put(inspection: Inspection, index: int, sighting: Sighting) -> Inspection:
    sightings = list(inspection.sightings)
    sightings[index] = sighting
    return replace(inspection, sightings=tuple(sightings))
