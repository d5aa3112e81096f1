"""Export files that were changed by hand: refused with words that say why, and nothing of them is stored."""

import hashlib
import json
import random
import stat
import zipfile
from collections.abc import Callable

import pytest

from app.record import export_file, import_inspection
from app.record.document import inspection_from_text
from app.record.export_file import DOCUMENT, MANIFEST
from app.record.import_inspection import read_export
from app.record.photo_store import PhotoStore
from app.record.problems import ExchangeProblem
from app.record.store import InspectionStore
from tests.record.export_parts import Parts, edited_document, member, nothing_stored, packed, parts_of, sealed
from tests.record.records import jpeg


def bomb(parts: Parts, name: str) -> Parts:
    return [(member(name, zipfile.ZIP_DEFLATED), bytes(60_000_000)) if i.filename == name else (i, b) for i, b in parts]


def as_link(parts: Parts) -> Parts:
    linked = parts[:-1]
    return [*linked, (member(parts[-1][0].filename, mode=stat.S_IFLNK | 0o777), b"/etc/passwd")]


def photo_exchanged(parts: Parts) -> Parts:
    return [*parts[:-1], (parts[-1][0], jpeg(shade=60))]


def deflated_photo(parts: Parts) -> Parts:
    return [*parts[:-1], (member(parts[-1][0].filename, zipfile.ZIP_DEFLATED), parts[-1][1])]


def photo_dropped_everywhere(parts: Parts) -> Parts:
    manifest = json.loads(parts[0][1])
    return sealed(parts[:-1], photos=manifest["photos"][:-1])


def program_as_photo(parts: Parts) -> Parts:
    """A photograph that is something else, with every hash made to agree."""
    body = b"MZ" + bytes(500)
    manifest = json.loads(parts[0][1])
    entry = manifest["photos"][-1]
    old, new = entry["sha256"], hashlib.sha256(body).hexdigest()
    entry |= {"sha256": new, "bytes": len(body)}
    document = parts[1][1].replace(old.encode(), new.encode())
    changed = sealed(parts[:-1], document, photos=manifest["photos"])
    return [*changed, (member(f"photos/{new}.jpg"), body)]


def overlapping(parts: Parts) -> Parts:
    """Sizes that members sharing their bytes would have."""
    photos = json.loads(parts[0][1])["photos"]
    return sealed(parts, photos=[photo | {"bytes": 60_000} for photo in photos])


HOSTILE: dict[str, tuple[Callable[[Parts], Parts], str]] = {
    "path escape": (lambda p: [*p, (member("../../evil.txt"), b"x")], r"'\.\./\.\./evil\.txt'.*not in its manifest"),
    "absolute path": (lambda p: [*p, (member("/etc/cron.d/evil"), b"x")], "not in its manifest"),
    "drive path": (lambda p: [*p, (member("C:\\evil.exe"), b"x")], "not in its manifest"),
    "folder": (lambda p: [*p, (member("photos/", mode=stat.S_IFDIR | 0o755), b"")], "link or a folder"),
    "symlink": (as_link, "link or a folder"),
    "member twice": (lambda p: [*p, p[-1]], "twice"),
    "document twice": (lambda p: [*p, p[1]], "twice"),
    "no manifest": (lambda p: p[1:], r"'manifest\.json' is missing"),
    "no document": (lambda p: [p[0], *p[2:]], r"'inspection\.json' is missing"),
    "photograph missing": (lambda p: p[:-1], "is missing"),
    "photograph missing, manifest agrees": (photo_dropped_everywhere, "the photograph .* is missing"),
    "photograph exchanged": (photo_exchanged, "larger than it may be|changed or damaged"),
    "photograph packed": (deflated_photo, "packed in a way"),
    "program as photograph": (program_as_photo, "not the kind of picture"),
    "document changed": (
        lambda p: [p[0], (p[1][0], p[1][1].replace(b"420.0", b"120.0")), *p[2:]],
        "changed or damaged",
    ),
    "manifest bomb": (lambda p: bomb(p, MANIFEST), "larger than it may be"),
    "document bomb": (lambda p: bomb(p, DOCUMENT), "larger than it may be"),
    "bzip2": (lambda p: [(member(MANIFEST, zipfile.ZIP_BZIP2), p[0][1]), *p[1:]], "packed in a way"),
    "format of the future": (lambda p: sealed(p, format_version=2), "newer version"),
    "format of none": (lambda p: sealed(p, format_version="1"), "format_version"),
    "another format": (lambda p: sealed(p, format="holiday pictures"), "manifest is not valid: format"),
    "unknown entry": (lambda p: sealed(p, run="x"), "manifest is not valid: run"),
    "photograph listed twice": (lambda p: sealed(p, photos=json.loads(p[0][1])["photos"] * 2), "twice"),
    "size of a terabyte": (lambda p: sealed(p, document_bytes=2**40), "document_bytes"),
    "schema of the future": (
        lambda p: edited_document(p, b'"schema_version": 1', b'"schema_version": 99'),
        "newer version",
    ),
    "wrong schema": (lambda p: edited_document(p, b"neck-sighting inspection", b"something else"), "not an inspection"),
    "NaN": (lambda p: edited_document(p, b"420.0", b"NaN"), "NaN"),
    "infinity": (lambda p: edited_document(p, b"420.0", b"1e999"), "not finite"),
    "deep nesting": (lambda p: edited_document(p, b'"step": "curves"', b'"step": ' + b"[" * 99_999), "nested deeper"),
    "manifest nested": (lambda p: [(p[0][0], b"[" * 99_999), *p[1:]], "nested deeper"),
    "manifest no object": (lambda p: [(p[0][0], b"7"), *p[1:]], "not a JSON object"),
    "field of a wrong type": (lambda p: edited_document(p, b"420.0", b'"420"'), "asking_price"),
    "hash with a path": (
        lambda p: sealed(p, photos=[{"sha256": "../" * 21 + "x", "ending": "jpg", "bytes": 3}]),
        r"photos\.0\.sha256",
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused_and_nothing_is_stored(
    name: str, exported: bytes, there: tuple[InspectionStore, PhotoStore]
) -> None:
    change, says = HOSTILE[name]
    with pytest.raises(ExchangeProblem, match=says) as problem:
        read_export(packed(change(parts_of(exported))))
    assert "Nothing has been stored" in problem.value.advice or "newer version" in problem.value.reason
    assert nothing_stored(there)


def test_packing_again_without_a_change_is_accepted(exported: bytes) -> None:
    """So that the refusals above come from the change and not from the packing."""
    assert read_export(packed(parts_of(exported))) == read_export(exported)
    assert read_export(packed(sealed(parts_of(exported)))).inspection == read_export(exported).inspection


@pytest.mark.parametrize("data", [b"", b"PK", b"\x00" * 100, b"PK\x05\x06" + bytes(18), jpeg(), b"{}"])
def test_what_is_no_export_file_is_refused(data: bytes) -> None:
    with pytest.raises(ExchangeProblem, match="not imported"):
        read_export(data)


def test_a_cut_off_file_is_refused_at_every_length(exported: bytes) -> None:
    for length in range(0, len(exported), max(1, len(exported) // 60)):
        with pytest.raises(ExchangeProblem, match="not imported"):
            read_export(exported[:length])


def test_too_many_members_are_refused_before_they_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    many = packed([(member(f"{k}"), b"") for k in range(export_file.MAX_PHOTOS + 3)])

    def never(*args: object) -> None:
        raise AssertionError("the directory was read")

    monkeypatch.setattr(zipfile, "ZipFile", never)
    with pytest.raises(ExchangeProblem, match="more files than an inspection has"):
        read_export(many)


def test_a_directory_larger_than_it_says_is_refused(exported: bytes) -> None:
    data = bytearray(packed([(member("x" * 200), b"") for _ in range(500)]))
    data[-12:-10] = (3).to_bytes(2, "little")  # claims three members, the directory is that of 500
    with pytest.raises(ExchangeProblem, match="more files than an inspection has"):
        read_export(bytes(data))


def test_a_file_beyond_the_size_limit_is_refused(exported: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(import_inspection, "MAX_FILE_BYTES", len(exported))
    assert read_export(exported).inspection
    monkeypatch.setattr(import_inspection, "MAX_FILE_BYTES", len(exported) - 1)
    with pytest.raises(ExchangeProblem, match="MiB, more than"):
        read_export(exported)


def test_an_encrypted_member_is_refused(exported: bytes) -> None:
    data = bytearray(exported)
    entry = data.index(b"PK\x01\x02")
    data[entry + 8] |= 1
    with pytest.raises(ExchangeProblem, match="encrypted"):
        read_export(bytes(data))


def test_seeded_fuzz_of_files_gives_the_inspection_or_a_clear_problem(exported: bytes) -> None:
    """Changed bytes either hit what does not matter (a time stamp) or are refused; nothing else comes out."""
    rng = random.Random(3)
    sound = read_export(exported)
    read = refused = 0
    directory = exported.index(b"PK\x01\x02")
    for _ in range(300):
        data = bytearray(exported)
        for _ in range(rng.randint(1, 3)):
            start = directory if rng.random() < 0.5 else 0
            data[rng.randrange(start, len(data))] = rng.randrange(256)
        try:
            incoming = read_export(bytes(data))
        except ExchangeProblem:
            refused += 1
        else:
            read += 1
            assert incoming == sound
    assert refused > 150
    assert read > 3


def test_seeded_fuzz_of_sealed_documents_gives_an_inspection_or_a_clear_problem(
    exported: bytes, there: tuple[InspectionStore, PhotoStore]
) -> None:
    """Hand-edited documents whose hashes were made to agree: what comes out is a whole inspection."""
    rng = random.Random(4)
    parts = parts_of(exported)
    body = parts[1][1]
    read = refused = 0
    for _ in range(120):
        edited = bytearray(body)
        at = rng.randrange(len(edited))
        edited[at : at + rng.randrange(3)] = rng.choice([b"0", b'"', b"-", b"9999999", b"null", b"}", b"\xff"])
        try:
            incoming = read_export(packed(sealed(parts, bytes(edited))))
        except ExchangeProblem:
            refused += 1
        else:
            read += 1
            assert incoming.inspection == inspection_from_text(bytes(edited))
    assert refused > 40
    assert read > 5
    assert nothing_stored(there)
