"""Photographs by content hash: kept once, checked on reading, written whole, and unused ones removable."""

import hashlib
import os
import time
from datetime import timedelta
from pathlib import Path

import pytest

from app.record import photo_store
from app.record.photo_store import PhotoStore
from app.record.problems import PhotoProblem
from tests.record.records import jpeg

AT_ONCE = timedelta(0)


def kept(store: PhotoStore) -> list[Path]:
    return sorted(path for path in store.folder.rglob("*") if path.is_file())


def test_the_original_comes_back_and_is_kept_once(tmp_path: Path) -> None:
    store = PhotoStore(tmp_path)
    data = jpeg()
    sha256 = store.put(data)
    assert sha256 == hashlib.sha256(data).hexdigest()
    assert store.put(data) == sha256
    assert store.get(sha256) == data
    assert len(kept(store)) == 1
    assert store.put(jpeg(shade=9)) != sha256
    assert len(kept(store)) == 2


def test_a_damaged_one_is_noticed_and_mended_by_adding_it_again(tmp_path: Path) -> None:
    store = PhotoStore(tmp_path)
    sha256 = store.put(jpeg())
    (path,) = kept(store)
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(PhotoProblem, match="damaged"):
        store.get(sha256)
    store.put(jpeg())
    assert store.get(sha256) == jpeg()


def test_a_missing_one_is_a_clear_problem(tmp_path: Path) -> None:
    with pytest.raises(PhotoProblem, match="not in the data folder"):
        PhotoStore(tmp_path).get("ab" * 32)


@pytest.mark.parametrize("sha256", ["", "../../etc/passwd", "AB" * 32, "ab" * 31, "ab" * 33, "ab" * 31 + "/x"])
def test_no_path_can_be_asked_for(tmp_path: Path, sha256: str) -> None:
    with pytest.raises(ValueError, match=r"sha256='.*' is not a SHA-256"):
        PhotoStore(tmp_path).get(sha256)


def test_sizes_are_limited_on_both_sides(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = PhotoStore(tmp_path)
    with pytest.raises(PhotoProblem, match="empty"):
        store.put(b"")
    monkeypatch.setattr(photo_store, "MAX_BYTES", 2**20)
    with pytest.raises(PhotoProblem, match="the limit is 1 MiB"):
        store.put(bytes(2**20 + 1))
    assert store.get(store.put(bytes(2**20))) == bytes(2**20)


def test_a_write_that_fails_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    store = PhotoStore(tmp_path)
    with pytest.raises(PhotoProblem, match="No space left on device"):
        store.put(jpeg())
    assert kept(store) == []


def test_bytes_are_synced_before_they_get_their_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[str] = []
    sync, rename = os.fsync, Path.replace

    def fsync(handle: int) -> None:
        steps.append("sync folder" if Path(f"/proc/self/fd/{handle}").resolve().is_dir() else "sync file")
        sync(handle)

    def replace(self: Path, target: Path) -> Path:
        steps.append("rename")
        return rename(self, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "replace", replace)
    PhotoStore(tmp_path).put(jpeg())
    assert steps[:3] == ["sync file", "rename", "sync folder"]


def test_only_old_unused_photographs_are_removed(tmp_path: Path) -> None:
    store = PhotoStore(tmp_path)
    used, unused, fresh = (store.put(jpeg(shade=shade)) for shade in (1, 2, 3))
    old = time.time() - 8 * 86400
    for sha256 in (used, unused):
        os.utime(store.folder / sha256[:2] / sha256, (old, old))
    arriving = store.folder / used[:2] / ".arriving-x"
    arriving.write_bytes(b"half")
    os.utime(arriving, (old, old))
    foreign = store.folder / used[:2] / "notes.txt"
    foreign.write_text("the user's own")
    os.utime(foreign, (old, old))
    assert store.remove_unused({used}) == 2
    assert store.get(used) == jpeg(shade=1)
    assert store.get(fresh) == jpeg(shade=3)
    assert foreign.exists()
    assert not arriving.exists()
    with pytest.raises(PhotoProblem, match="not in the data folder"):
        store.get(unused)
    assert store.remove_unused({used}, AT_ONCE) == 1
    assert store.remove_unused((), AT_ONCE) == 1


def test_adding_an_old_unused_photograph_again_spares_it(tmp_path: Path) -> None:
    store = PhotoStore(tmp_path)
    sha256 = store.put(jpeg())
    old = time.time() - 8 * 86400
    os.utime(store.folder / sha256[:2] / sha256, (old, old))
    store.put(jpeg())
    assert store.remove_unused(()) == 0
    assert store.get(sha256) == jpeg()


def test_an_empty_collection_has_nothing_to_remove(tmp_path: Path) -> None:
    assert PhotoStore(tmp_path).remove_unused(()) == 0
