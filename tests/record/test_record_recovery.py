"""Recovering a damaged database: the damaged file is kept whole, and readable inspections live on."""

from pathlib import Path

import pytest

from app.record.inspection import new_inspection
from app.record.problems import StoreDamaged
from app.record.recovery import recover_damaged
from app.record.store import DATABASE_NAME, InspectionStore
from tests.record.records import full_inspection

PAGE = 4096


def damaged_store(folder: Path, first_page: int, pages: int) -> tuple[dict[str, object], bytes]:
    """A store of twelve inspections, the third one in the bin, with pages overwritten; the file's bytes."""
    store = InspectionStore(folder)
    saved = [store.save(full_inspection("ab" * 32)) for _ in range(12)]
    store.move_to_bin(saved[2].id)
    data = bytearray(store.path.read_bytes())
    assert len(data) > (first_page + pages) * PAGE
    data[first_page * PAGE : (first_page + pages) * PAGE] = b"\xa5" * pages * PAGE
    store.path.write_bytes(data)
    return {inspection.id: inspection for inspection in saved}, bytes(data)


def test_what_is_readable_is_saved_and_the_damaged_file_kept(tmp_path: Path) -> None:
    saved, data = damaged_store(tmp_path, 40, 3)
    with pytest.raises(StoreDamaged, match="damaged"):
        InspectionStore(tmp_path)
    recovery = recover_damaged(tmp_path)
    assert (recovery.kept_in / DATABASE_NAME).read_bytes() == data
    store = InspectionStore(tmp_path)
    back = [line.id for line in (*store.summaries(), *store.summaries(binned=True))]
    assert len(back) == recovery.recovered
    assert 8 <= recovery.recovered <= 11  # three pages belong to one or few of twelve documents
    for inspection_id in back:
        assert store.load(inspection_id) == saved[inspection_id]
    assert [line.id for line in store.summaries(binned=True)] in ([], [list(saved)[2]])
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([DATABASE_NAME, recovery.kept_in.name])


def test_a_file_with_nothing_readable_is_kept_and_an_empty_store_begun(tmp_path: Path) -> None:
    (tmp_path / DATABASE_NAME).write_bytes(b"nothing of use " * 1000)
    recovery = recover_damaged(tmp_path)
    assert (recovery.recovered, recovery.unreadable) == (0, 0)
    assert (recovery.kept_in / DATABASE_NAME).read_bytes() == b"nothing of use " * 1000
    assert InspectionStore(tmp_path).summaries() == ()
    InspectionStore(tmp_path).save(new_inspection())


def test_a_sound_store_is_not_recovered(tmp_path: Path) -> None:
    saved = InspectionStore(tmp_path).save(new_inspection())
    with pytest.raises(ValueError, match=r"folder='.*' holds no damaged database"):
        recover_damaged(tmp_path)
    assert InspectionStore(tmp_path).load(saved.id) == saved
