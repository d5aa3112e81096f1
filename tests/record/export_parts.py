"""An export file taken apart, changed and packed again, and whether a store stayed empty."""

import hashlib
import io
import json
import warnings
import zipfile
from typing import Any

from app.record.export_file import DOCUMENT, MANIFEST
from app.record.photo_store import PhotoStore
from app.record.store import InspectionStore

Parts = list[tuple[zipfile.ZipInfo, bytes]]


def nothing_stored(stores: tuple[InspectionStore, PhotoStore]) -> bool:
    return stores[0].summaries() == () and not list(stores[1].folder.rglob("*"))


def parts_of(exported: bytes) -> Parts:
    with zipfile.ZipFile(io.BytesIO(exported)) as archive:
        return [(info, archive.read(info)) for info in archive.infolist()]


def packed(parts: Parts) -> bytes:
    file = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(file, "w") as archive:
        warnings.simplefilter("ignore")  # a repeated name is meant
        for info, data in parts:
            member = zipfile.ZipInfo(info.filename)
            member.compress_type, member.external_attr = info.compress_type, info.external_attr
            archive.writestr(member, data)
    return file.getvalue()


def member(name: str, compress_type: int = zipfile.ZIP_STORED, mode: int = 0) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.compress_type, info.external_attr = compress_type, mode << 16
    return info


def sealed(parts: Parts, document: bytes | None = None, **changes: Any) -> Parts:
    """The parts with the document exchanged and the manifest made to agree, then changed."""
    data = {info.filename: body for info, body in parts}
    body = data[DOCUMENT] if document is None else document
    manifest = json.loads(data[MANIFEST])
    manifest |= {"document_sha256": hashlib.sha256(body).hexdigest(), "document_bytes": len(body)} | changes
    new = {MANIFEST: json.dumps(manifest).encode(), DOCUMENT: body}
    return [(info, new.get(info.filename, old)) for info, old in parts]


def edited_document(parts: Parts, old: bytes, new: bytes) -> Parts:
    document = next(body for info, body in parts if info.filename == DOCUMENT)
    assert old in document
    return sealed(parts, document.replace(old, new))
