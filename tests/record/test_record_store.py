"""The store: round trips, conflicts between two sessions, the bin, threads and processes, refused files."""

import sqlite3
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from app.record import folder as folder_module
from app.record import tables
from app.record.document import inspection_to_text
from app.record.folder import data_folder
from app.record.inspection import Guitar, Inspection, new_inspection, now_utc
from app.record.problems import Conflict, DocumentProblem, NotStored, StoreDamaged, StoreProblem
from app.record.store import DATABASE_NAME, InspectionStore
from tests.record.records import full_inspection

HASH, OTHER = "ab" * 32, "cd" * 32


def titled(inspection: Inspection, title: str) -> Inspection:
    return replace(inspection, guitar=replace(inspection.guitar, title=title))


def test_a_saved_inspection_comes_back_whole_from_another_store(tmp_path: Path) -> None:
    before = now_utc()
    saved = InspectionStore(tmp_path).save(full_inspection(HASH, OTHER))
    assert saved.revision == 1
    assert before <= saved.changed_at <= now_utc()
    assert InspectionStore(tmp_path).load(saved.id) == saved


def test_the_file_writes_ahead_and_syncs_in_full(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    with store._engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar_one() == 2  # FULL, sqlite.org/pragma.html
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1


def test_every_save_counts_the_revision_up_and_replaces_the_photographs_in_use(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    first = store.save(full_inspection(HASH, OTHER))
    assert store.photos_in_use() == {HASH, OTHER}
    second = store.save(replace(first, sightings=(), checks={}))
    assert (first.revision, second.revision) == (1, 2)
    assert store.photos_in_use() == frozenset()


def test_the_list_shows_what_was_saved_newest_first(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    old = replace(full_inspection(HASH, OTHER), revision=3, changed_at=now_utc() - timedelta(days=2))
    store.insert(old)
    new = store.save(new_inspection(Guitar("Plain one", currency="CHF")))
    listed = store.summaries()
    assert [line.id for line in listed] == [new.id, old.id]
    line = listed[1]
    assert line.changed_at == old.changed_at
    assert (line.title, line.place_seen) == (old.guitar.title, old.guitar.place_seen)
    assert (line.asking_price, line.currency, line.step) == (420.0, "EUR", "curves")
    assert (line.photos, line.measured) == (2, 1)
    assert (listed[0].photos, listed[0].measured, listed[0].asking_price) == (0, 0, None)


def test_two_sessions_on_one_inspection_lose_neither_side(tmp_path: Path) -> None:
    here, there = InspectionStore(tmp_path), InspectionStore(tmp_path)
    start = here.save(full_inspection(HASH))
    theirs = there.save(titled(there.load(start.id), "theirs"))
    mine = titled(start, "mine")
    with pytest.raises(Conflict, match="saved in another window") as conflict:
        here.save(mine)
    assert conflict.value.mine == mine
    assert conflict.value.stored == theirs
    assert not conflict.value.binned
    assert here.load(start.id) == theirs  # nothing was overwritten

    copy = here.save_copy(conflict.value.mine)
    assert copy.id != start.id
    assert copy.guitar.title == "mine (copy)"
    assert copy.sightings == mine.sightings
    assert {line.title for line in here.summaries()} == {"theirs", "mine (copy)"}

    won = here.save(mine, over=theirs.revision)
    assert won.revision == 3
    assert here.load(start.id) == won
    with pytest.raises(Conflict, match="Nothing is lost"):
        there.save(theirs)


def test_the_same_new_inspection_saved_twice_is_a_conflict(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    fresh = new_inspection()
    store.save(fresh)
    with pytest.raises(Conflict, match="another window"):
        store.save(fresh)
    with pytest.raises(Conflict, match="another window"):
        store.insert(fresh)


def test_a_revision_ahead_of_the_stored_one_is_a_conflict_too(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    saved = store.save(new_inspection())
    with pytest.raises(Conflict, match="another window"):
        store.save(replace(saved, revision=saved.revision + 1))


def test_the_bin_keeps_an_inspection_until_it_is_erased(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    saved = store.save(full_inspection(HASH))
    with pytest.raises(NotStored, match="no such inspection"):
        store.erase(saved.id)  # not in the bin
    store.move_to_bin(saved.id)
    assert store.summaries() == ()
    (binned,) = store.summaries(binned=True)
    assert binned.id == saved.id
    assert store.load(saved.id) == saved
    assert store.photos_in_use() == {HASH}
    with pytest.raises(Conflict, match="moved to the bin") as conflict:
        store.save(saved)
    assert conflict.value.binned
    with pytest.raises(NotStored, match="no such inspection"):
        store.move_to_bin(saved.id)
    store.restore(saved.id)
    assert store.save(saved).revision == 2
    store.move_to_bin(saved.id)
    store.erase(saved.id)
    assert store.summaries(binned=True) == ()
    assert store.photos_in_use() == frozenset()
    with pytest.raises(NotStored, match="no such inspection"):
        store.restore(saved.id)
    with pytest.raises(NotStored, match="no such inspection"):
        store.load(saved.id)
    with pytest.raises(Conflict, match="erased") as gone:
        store.save(saved)
    assert gone.value.stored is None
    assert store.save_copy(gone.value.mine).sightings == saved.sightings


def test_a_long_title_still_makes_a_copy(tmp_path: Path) -> None:
    copy = InspectionStore(tmp_path).save_copy(new_inspection(Guitar("t" * 200)))
    assert copy.guitar.title == "t" * 190 + " (copy)"
    assert InspectionStore(tmp_path).save_copy(new_inspection()).guitar.title == "(copy)"


def test_threads_saving_one_inspection_count_up_without_a_gap(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four threads each get five saves through by loading again after a conflict: twenty revisions, no more."""
    monkeypatch.setattr(tables, "LOCK_WAIT_MS", 120_000)  # locks go to no queue: a busy machine may starve one
    store = InspectionStore(tmp_path)
    start = store.save(new_inspection())
    failures: list[BaseException] = []

    def work() -> None:
        try:
            for _ in range(5):
                while True:
                    try:
                        store.save(store.load(start.id))
                        break
                    except Conflict:
                        continue
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert store.load(start.id).revision == 1 + 20


def test_processes_that_make_the_same_store_at_once_all_succeed(tmp_path: Path) -> None:
    program = (
        "import sys; from pathlib import Path; from app.record.store import InspectionStore\n"
        "from app.record.inspection import new_inspection\n"
        "print('ready', flush=True); sys.stdin.readline(); s = InspectionStore(Path(sys.argv[1]))\n"
        "s.save(new_inspection()); s.save(new_inspection())"
    )
    command = [sys.executable, "-W", "error", "-c", program, str(tmp_path / "new")]
    root, pipe = Path(__file__).resolve().parents[2], subprocess.PIPE
    running = [subprocess.Popen(command, cwd=root, stdin=pipe, stdout=pipe, stderr=pipe) for _ in range(3)]
    for process in running:
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
    for process in running:  # all have their imports done: let them go at once
        assert process.stdin is not None
        process.stdin.write(b"\n")
        process.stdin.flush()
    for process in running:
        _, errors = process.communicate(timeout=60)
        assert (process.returncode, errors) == (0, b"")
    assert len(InspectionStore(tmp_path / "new").summaries()) == 6


def test_a_failed_save_leaves_the_stored_side_and_its_photographs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = InspectionStore(tmp_path)
    saved = store.save(full_inspection(HASH))
    with sqlite3.connect(store.path) as raw:  # make the last statement of a save fail
        raw.execute("CREATE TRIGGER no BEFORE INSERT ON photo_uses BEGIN SELECT RAISE(ABORT, 'refused'); END")
    raw.close()
    with pytest.raises(StoreProblem, match="refused"):
        store.save(replace(saved, step="later", sightings=full_inspection(OTHER).sightings))
    assert store.load(saved.id) == saved
    assert store.photos_in_use() == {HASH}


def test_a_lock_that_does_not_end_is_a_clear_problem(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = InspectionStore(tmp_path)
    saved = store.save(new_inspection())
    monkeypatch.setattr(tables, "LOCK_WAIT_MS", 50)
    raw = sqlite3.connect(store.path, isolation_level=None)
    raw.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreProblem, match="Another window is writing"):
        store.save(saved)
    assert store.load(saved.id) == saved  # reading goes on meanwhile
    raw.execute("ROLLBACK")
    raw.close()
    assert store.save(saved).revision == 2


def test_a_document_edited_by_hand_in_the_file_is_named_and_the_others_open(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    bad, good = store.save(full_inspection(HASH)), store.save(new_inspection())
    edited = inspection_to_text(bad).replace('"fault"', '"sold"')
    with sqlite3.connect(store.path) as raw:
        raw.execute("UPDATE inspections SET document = ? WHERE id = ?", (edited, bad.id))
    raw.close()
    with pytest.raises(DocumentProblem, match=r"checks\.fret_ends\.state"):
        store.load(bad.id)
    assert store.load(good.id) == good
    assert len(store.summaries()) == 2


@pytest.mark.parametrize("text", ["no database at all, " * 300, "SQLite format 3\0" + "x" * 5000])
def test_a_file_that_is_no_database_is_left_as_it_is(tmp_path: Path, text: str) -> None:
    path = tmp_path / DATABASE_NAME
    path.write_text(text)
    with pytest.raises(StoreDamaged, match="left as it is"):
        InspectionStore(tmp_path)
    assert path.read_text() == text


def test_damage_within_the_file_is_noticed_on_opening(tmp_path: Path) -> None:
    store = InspectionStore(tmp_path)
    for _ in range(5):
        store.save(full_inspection(HASH))
    data = bytearray(store.path.read_bytes())
    data[4096 * 2 : 4096 * 4] = b"\xa5" * 4096 * 2
    store.path.write_bytes(data)
    with pytest.raises(StoreDamaged, match="recover what can still be read"):
        InspectionStore(tmp_path)
    assert store.path.read_bytes() == bytes(data)


def test_another_programs_database_and_a_newer_one_are_not_touched(tmp_path: Path) -> None:
    path = tmp_path / DATABASE_NAME
    with sqlite3.connect(path) as raw:
        raw.execute("CREATE TABLE recipes (name)")
    raw.close()
    with pytest.raises(StoreProblem, match="another program"):
        InspectionStore(tmp_path)
    with sqlite3.connect(path) as raw:
        assert raw.execute("SELECT name FROM sqlite_schema").fetchall() == [("recipes",)]
    raw.close()
    newer = tmp_path / "newer"
    InspectionStore(newer)
    with sqlite3.connect(newer / DATABASE_NAME) as raw:
        raw.execute("PRAGMA user_version = 2")
    raw.close()
    with pytest.raises(StoreProblem, match="newer version"):
        InspectionStore(newer)


def test_an_empty_file_left_by_a_killed_start_becomes_a_store(tmp_path: Path) -> None:
    (tmp_path / DATABASE_NAME).touch()
    assert InspectionStore(tmp_path).summaries() == ()


def test_a_folder_that_cannot_be_made_is_a_clear_problem(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreProblem, match="data folder cannot be used"):
        InspectionStore(tmp_path / "file" / "inside")


def test_the_data_folder_is_the_platforms_unless_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(folder_module.FOLDER_VARIABLE, str(tmp_path))
    assert data_folder() == tmp_path
    monkeypatch.delenv(folder_module.FOLDER_VARIABLE)
    assert data_folder().name == "neck-sighting"
    assert data_folder().is_absolute()
