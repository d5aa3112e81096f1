"""Import files and measurement documents, damaged in their structure as well as in their bytes."""

import copy
import hashlib
import io
import json
import zipfile
from functools import cache
from typing import Any

import numpy as np

from app.contract import outcome_to_contract
from app.record.document import inspection_to_text
from app.record.export_file import (
    DOCUMENT,
    ENDINGS,
    FORMAT,
    FORMAT_VERSION,
    MANIFEST,
    Manifest,
    PhotoEntry,
    manifest_to_bytes,
)
from tests.fixtures_results import measured, refused
from tests.hostile.mutations import mutated
from tests.record.records import WHEN, full_inspection, jpeg
from vision.settings import Thresholds

_NAMES = ("../../out", "/etc/out", "photos/", "a\x00b", "C:\\out", "manifest.json", "photos/" + "0" * 64 + ".jpg")


def _odd_values() -> list[Any]:
    nested: Any = []
    for _ in range(200):
        nested = [nested]
    return [
        None, True, -1, 0, 1, 23, 10**400, -(10**25), 2**63, 1e308, -1e308, 1e-320, float("inf"), float("nan"),
        "", "x" * 100_000, "\ud800", "\x00", "NaN", "<script>alert(1)</script>", [], {}, [None], [[1.0]], nested,
        {"": None}, [0.0] * 22, [1e308] * 22, [[1e308, -1e308]] * 22,
    ]  # fmt: skip


@cache
def _measured_text() -> tuple[str, ...]:
    outcomes = (measured(), refused())
    return tuple(json.dumps(outcome_to_contract(outcome, Thresholds(), "0.1.0")) for outcome in outcomes)


@cache
def _photograph() -> bytes:
    return jpeg()


@cache
def _inspection_text() -> str:
    return inspection_to_text(full_inspection(hashlib.sha256(_photograph()).hexdigest()))


def damaged_contract(rng: np.random.Generator) -> Any:
    """A measurement's document as data, with one to four places damaged."""
    texts = _measured_text()
    return _damaged(json.loads(texts[int(rng.integers(len(texts)))]), rng)


def damaged_export(rng: np.random.Generator) -> bytes:
    """An import file: damaged in its document, its manifest, its archive or its bytes."""
    way = rng.random()
    if way < 0.45:  # the document says something else, and all check sums agree with it
        document = _as_json(_damaged(json.loads(_inspection_text()), rng, first="inspection"))
        return _archive(document, _manifest(document), rng)
    if way < 0.6:
        document = _inspection_text().encode()
        return _archive(document, _as_json(_damaged(json.loads(_manifest(document)), rng)), rng)
    document = _inspection_text().encode()
    if way < 0.75:
        return _archive(document, _manifest(document), rng, tricks=True)
    return mutated(_archive(document, _manifest(document), rng), "ZIP", rng)


def _as_json(tree: Any) -> bytes:
    return json.dumps(tree).encode("utf-8", "surrogatepass")


def _manifest(document: bytes) -> bytes:
    entry = PhotoEntry(hashlib.sha256(_photograph()).hexdigest(), ENDINGS["JPEG"], len(_photograph()))
    hashed = hashlib.sha256(document).hexdigest()
    size = min(max(len(document), 2), 2**20)
    return manifest_to_bytes(Manifest(FORMAT, FORMAT_VERSION, "0.1.0", WHEN, hashed, size, (entry,), ()))


def _archive(document: bytes, manifest: bytes, rng: np.random.Generator, *, tricks: bool = False) -> bytes:
    file = io.BytesIO()
    photo = f"photos/{hashlib.sha256(_photograph()).hexdigest()}.jpg"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(MANIFEST, manifest)
        archive.writestr(DOCUMENT, document)
        archive.writestr(photo, _photograph(), zipfile.ZIP_STORED)
        if tricks:
            info = zipfile.ZipInfo(_NAMES[int(rng.integers(len(_NAMES)))])
            info.external_attr = int(rng.choice([0, 0o120777 << 16, 0o040755 << 16]))
            info.compress_type = int(rng.choice([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2]))
            if info.filename not in archive.namelist():
                archive.writestr(info, bytes(int(rng.choice([0, 10, 2**20]))))
    return file.getvalue()


def _damaged(tree: Any, rng: np.random.Generator, first: str | None = None) -> Any:
    """tree with places chosen level by level changed, so that upper levels are hit as often as numbers."""
    for _ in range(int(rng.integers(1, 5))):
        inner = tree[first] if first and isinstance(tree.get(first), dict) and rng.random() < 0.9 else tree
        _damage(inner, rng)
    return tree


def _damage(tree: Any, rng: np.random.Generator) -> None:
    while True:
        keys = list(tree) if isinstance(tree, dict) else list(range(len(tree)))
        if not keys:
            return
        key = keys[int(rng.integers(len(keys)))]
        if not isinstance(tree[key], (dict, list)) or rng.random() < 0.3:
            break
        tree = tree[key]
    value = tree[key]
    match int(rng.integers(6)):
        case 0:
            del tree[key]
        case 1 if isinstance(tree, dict):
            tree[str(key) + "x"] = tree.pop(key)
        case 2 if isinstance(value, list):
            tree[key] = value * int(rng.choice([2, 30]))
        case 3 if isinstance(value, list):
            tree[key] = value[: len(value) // 2]
        case 4:
            other = keys[int(rng.integers(len(keys)))]
            tree[key] = copy.deepcopy(tree[other])
        case _:
            odd = _odd_values()
            tree[key] = odd[int(rng.integers(len(odd)))]
