"""A writer that saves without pause, killed with SIGKILL again and again; after each kill the store is examined.

Run as a program: `kill_while_saving.py FOLDER KILLS SEED`. It prints one JSON line of what it saw and ends with
status 1 at the first thing lost or half written. The writer is forked, so that 200 kills need no 200 imports.
SIGKILL ends a process, not the machine: that a commit outlives a power cut rests on SQLite's FULL mode and fsync.
"""

import hashlib
import json
import os
import random
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path

from app.record.inspection import CheckResult, Guitar, Inspection, Photo, PlayedNote, Sighting, new_inspection
from app.record.photo_store import PhotoStore
from app.record.store import InspectionStore

INSPECTIONS = 3
STARTS_ANEW_EVERY = 20  # kills, so that some hit the making of the database
LONGEST_LINE_S = 0.1
LINES_AT_MOST = 6  # open, then saving and saved in turn


def filled(inspection: Inspection) -> Inspection:
    """The inspection with its next revision written into every part, so that a mixture of two would show."""
    number = inspection.revision + 1
    photo = Photo(hashlib.sha256(photo_bytes(inspection.id, number)).hexdigest(), f"{number}.jpg")
    return replace(
        inspection,
        step=f"step {number}",
        guitar=Guitar(title=f"title {number}", asking_price=float(number)),
        sightings=(Sighting(f"label {number}", inspection.created_at, photos=(photo,)),),
        checks={f"check {k}": CheckResult("fault", f"note {number} " + "x" * 300) for k in range(40)},
        play_test=tuple(PlayedNote(string, number % 20, "buzz") for string in range(1, 7)),
    )


def photo_bytes(inspection_id: str, number: int) -> bytes:
    """A photograph's stand-in that can be told from every other."""
    return f"{inspection_id} {number} ".encode() * 2000


def write_without_pause(folder: Path, pipe: int) -> None:
    """Save one inspection after the other, telling the pipe before each save and after each commit."""
    store, photos = InspectionStore(folder), PhotoStore(folder)
    os.write(pipe, b"open\n")
    mine = [store.load(summary.id) for summary in store.summaries()]
    while len(mine) < INSPECTIONS:
        mine.append(new_inspection())
    while True:
        for index, inspection in enumerate(mine):
            os.write(pipe, f"saving {inspection.id} {inspection.revision + 1}\n".encode())
            photos.put(photo_bytes(inspection.id, inspection.revision + 1))
            mine[index] = store.save(filled(inspection))
            os.write(pipe, f"saved {inspection.id} {inspection.revision + 1}\n".encode())


def kill_one(folder: Path, lines: int, then_s: float) -> tuple[list[str], float]:
    """Start a writer, kill it then_s after it has told so many lines; return all it told, and seconds a line.

    Counting lines rather than seconds lets the kills strike among the saves on a busy machine as well.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            write_without_pause(folder, writing)
        finally:
            os._exit(1)
    os.close(writing)
    told, begun = b"", time.monotonic()
    while told.count(b"\n") < lines and (part := os.read(reading, 65536)):
        told += part
    line_s = (time.monotonic() - begun) / max(told.count(b"\n"), 1)
    time.sleep(then_s)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise AssertionError(f"the writer ended by itself with status {status}")
    while part := os.read(reading, 65536):
        told += part
    os.close(reading)
    return told.decode().splitlines(), line_s


def examine(folder: Path, promised: dict[str, int], begun: dict[str, int]) -> int:
    """Check the store against what was promised; return how many saves were there without having been told.

    promised: revision acknowledged for each id. begun: revision whose save had begun.
    """
    store, photos = InspectionStore(folder), PhotoStore(folder)  # opening runs the database's own check
    found = {summary.id: summary for summary in store.summaries()}
    if lost := set(promised) - set(found):
        raise AssertionError(f"lost: {lost}")
    untold = 0
    hashes = set()
    for inspection_id, summary in found.items():
        inspection = store.load(inspection_id)
        low, high = promised.get(inspection_id, 0), begun[inspection_id]
        if not low <= inspection.revision <= high:
            raise AssertionError(f"revision {inspection.revision} is outside {low} to {high}")
        untold += inspection.revision > low
        whole = filled(replace(inspection, revision=inspection.revision - 1))
        if replace(whole, revision=inspection.revision) != inspection:
            raise AssertionError(f"half written: {inspection}")
        listed = (summary.changed_at, summary.title, summary.step)
        if listed != (inspection.changed_at, whole.guitar.title, whole.step):
            raise AssertionError(f"list and document differ: {summary}")
        for photo in inspection.sightings[0].photos:
            if photos.get(photo.sha256) != photo_bytes(inspection_id, inspection.revision):
                raise AssertionError(f"wrong photograph: {photo}")
            hashes.add(photo.sha256)
    if store.photos_in_use() != hashes:
        raise AssertionError("the photographs in use are not those of the documents")
    return untold


def main(folder: Path, kills: int, seed: int) -> dict[str, int]:
    """Kill writers kills times and count what happened. Raises AssertionError at the first loss."""
    rng = random.Random(seed)
    seen = {"kills": 0, "saved": 0, "killed_while_saving": 0, "killed_while_opening": 0, "untold": 0}
    promised: dict[str, int] = {}
    begun: dict[str, int] = {}
    line_s = 0.01
    for number in range(kills):
        if number % STARTS_ANEW_EVERY == 0:
            current = folder / str(number)
            promised, begun = {}, {}
        lines, latest_s = kill_one(current, rng.randint(0, LINES_AT_MOST), rng.uniform(0.0, 2.0) * line_s)
        line_s = min(latest_s, LONGEST_LINE_S) if lines else line_s
        for line in lines:
            if line.startswith(("saving ", "saved ")):
                word, inspection_id, revision = line.split()
                (promised if word == "saved" else begun)[inspection_id] = int(revision)
        seen["kills"] += 1
        seen["saved"] += sum(line.startswith("saved ") for line in lines)
        seen["killed_while_saving"] += bool(lines) and lines[-1].startswith("saving ")
        seen["killed_while_opening"] += not lines
        seen["untold"] += examine(current, promised, begun)
        left = InspectionStore(current)
        promised = {summary.id: left.load(summary.id).revision for summary in left.summaries()}
    return seen


if __name__ == "__main__":
    print(json.dumps(main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
