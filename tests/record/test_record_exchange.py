"""Export and import: a whole round trip without location, and the choices on a known id."""

import io
import zipfile
from dataclasses import replace

import pillow_heif
import pytest
from PIL import Image

from app.record.export_inspection import export_inspection
from app.record.import_inspection import choices, read_export, store_incoming
from app.record.inspection import CheckResult, Inspection, Photo, photos_of
from app.record.photo_store import PhotoStore
from app.record.privacy import picture_format, without_location
from app.record.problems import Conflict, PhotoProblem
from app.record.store import InspectionStore
from tests.record.records import SECRETS, exif_with_place, full_inspection, jpeg, pixels


def without_hashes(inspection: Inspection) -> Inspection:
    """The inspection with every photograph's hash the same, since a cleaned picture has another one."""

    def blank(photo: Photo) -> Photo:
        return replace(photo, sha256="0" * 64)

    return replace(
        inspection,
        sightings=tuple(replace(s, photos=tuple(blank(p) for p in s.photos)) for s in inspection.sightings),
        checks={k: replace(c, photo=blank(c.photo)) if c.photo else c for k, c in inspection.checks.items()},
    )


def test_an_inspection_travels_whole_and_without_location(
    exported: bytes, saved: Inspection, there: tuple[InspectionStore, PhotoStore]
) -> None:
    incoming = read_export(exported)
    assert choices(incoming, there[0]) == ("store",)
    stored = store_incoming(incoming, "store", *there)
    assert there[0].load(saved.id) == stored
    assert without_hashes(stored) == without_hashes(saved)
    for photo, data in zip(photos_of(stored), (jpeg(), jpeg(shade=30)), strict=True):
        assert there[1].get(photo.sha256) == without_location(data).data
    with zipfile.ZipFile(io.BytesIO(exported)) as archive:
        for name in archive.namelist():
            for secret in SECRETS:
                assert secret not in archive.read(name)
    for secret in SECRETS:
        assert secret not in exported


def test_exporting_what_was_imported_gives_the_same_photographs(
    exported: bytes, there: tuple[InspectionStore, PhotoStore]
) -> None:
    stored = store_incoming(read_export(exported), "store", *there)
    again = read_export(export_inspection(stored, there[1], "0.1.0").data)
    assert again.inspection == stored
    assert again.photos == read_export(exported).photos


def test_every_kind_of_picture_travels(
    here: tuple[InspectionStore, PhotoStore], there: tuple[InspectionStore, PhotoStore]
) -> None:
    exif, hashes = exif_with_place().tobytes(), []
    for kind in ("JPEG", "PNG", "WEBP", "TIFF"):
        file = io.BytesIO()
        Image.fromarray(pixels()).save(file, kind, exif=exif)
        hashes.append(here[1].put(file.getvalue()))
    heif = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels())).save(heif, exif=exif)
    hashes.append(here[1].put(heif.getvalue()))
    export = export_inspection(full_inspection(*hashes), here[1], "0.1.0")
    assert export.left_out == ()
    stored = store_incoming(read_export(export.data), "store", *there)
    kinds = [picture_format(there[1].get(photo.sha256)) for photo in photos_of(stored)]
    assert kinds == ["JPEG", "PNG", "WebP", "PNG", "HEIF"]
    for secret in SECRETS:
        assert secret not in export.data


def test_photographs_that_cannot_be_cleaned_stay_behind_and_are_named(
    here: tuple[InspectionStore, PhotoStore], there: tuple[InspectionStore, PhotoStore]
) -> None:
    unreadable = here[1].put(b"no picture, Meadow-Lane-19")
    inspection = full_inspection(here[1].put(jpeg()), unreadable, "ab" * 32)
    export = export_inspection(inspection, here[1], "0.1.0")
    assert [line.split(":")[0] for line in export.left_out] == ["view 1.jpg", "view 2.jpg"]
    assert "cannot be read as a whole picture" in export.left_out[0]
    assert "not in the data folder" in export.left_out[1]
    assert b"Meadow-Lane-19" not in export.data
    incoming = read_export(export.data)
    assert incoming.left_out == {unreadable, "ab" * 32}
    stored = store_incoming(incoming, "store", *there)
    assert len(stored.sightings[0].photos) == 3  # their places stay, so that figures and pictures match
    with pytest.raises(PhotoProblem, match="not in the data folder"):
        there[1].get(unreadable)


def test_an_inspection_without_photographs_travels(here: tuple[InspectionStore, PhotoStore]) -> None:
    inspection = replace(full_inspection("ab" * 32), sightings=(), checks={"nut": CheckResult("fine")})
    assert read_export(export_inspection(inspection, here[1], "0.1.0").data).inspection == inspection


def test_a_known_id_offers_a_copy_and_replacing_unless_older(
    exported: bytes, saved: Inspection, here: tuple[InspectionStore, PhotoStore]
) -> None:
    store = here[0]
    incoming = read_export(exported)
    assert choices(incoming, store) == ("copy", "replace")
    copy = store_incoming(incoming, "copy", *here)
    assert copy.id != saved.id
    assert without_hashes(store.load(saved.id)) == without_hashes(saved)

    replaced = store_incoming(incoming, "replace", *here)
    assert (replaced.id, replaced.revision) == (saved.id, 2)
    with pytest.raises(Conflict, match="another window"):
        store.save(saved)  # a window that had it open does not overwrite what came in

    assert choices(incoming, store) == ("copy",)  # the stored one is newer now
    with pytest.raises(ValueError, match="choice='replace' is not one of"):
        store_incoming(incoming, "replace", *here)
    with pytest.raises(ValueError, match="choice='store' is not one of"):
        store_incoming(incoming, "store", *here)


def test_a_newer_one_keeps_its_revision_ahead(
    saved: Inspection, here: tuple[InspectionStore, PhotoStore], there: tuple[InspectionStore, PhotoStore]
) -> None:
    ahead = replace(saved, revision=9)
    incoming = read_export(export_inspection(ahead, here[1], "0.1.0").data)
    assert store_incoming(incoming, "store", *there).revision == 9
    assert store_incoming(incoming, "replace", *here).revision == 10


def test_replacing_one_in_the_bin_takes_it_out(
    exported: bytes, saved: Inspection, here: tuple[InspectionStore, PhotoStore]
) -> None:
    here[0].move_to_bin(saved.id)
    store_incoming(read_export(exported), "replace", *here)
    assert [line.id for line in here[0].summaries()] == [saved.id]


# Hostile files: each change is made to the parts of a sound file, which is then packed again.


def test_a_problem_while_storing_leaves_no_inspection(
    exported: bytes, there: tuple[InspectionStore, PhotoStore], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: PhotoStore, data: bytes) -> str:
        raise PhotoProblem("The disk is full.", "Free some space.")

    monkeypatch.setattr(PhotoStore, "put", full)
    with pytest.raises(PhotoProblem, match="disk is full"):
        store_incoming(read_export(exported), "store", *there)
    assert there[0].summaries() == ()
