"""An inspection as one plain JSON document with a schema version, and strictly back again."""

import json
from typing import Any

from pydantic import TypeAdapter, ValidationError

from app.record.checked import first_error
from app.record.inspection import Inspection
from app.record.plain_json import read_json
from app.record.problems import DocumentProblem

SCHEMA = "neck-sighting inspection"
SCHEMA_VERSION = 1
MAX_DOCUMENT_BYTES = 8 * 2**20  # forty sets of photographs with their measurements take about 3 MiB

_ADAPTER: TypeAdapter[Inspection] = TypeAdapter(Inspection)
_ADVICE_UNREADABLE = "Take an export file or a copy made before it was changed by hand."


def inspection_to_text(inspection: Inspection) -> str:
    """The document as JSON text, the same text for the same inspection.

    Raises ValueError when it would be larger than MAX_DOCUMENT_BYTES.
    """
    document = {
        "schema": SCHEMA,
        "schema_version": SCHEMA_VERSION,
        "inspection": _ADAPTER.dump_python(inspection, mode="json"),
    }
    text = json.dumps(document, allow_nan=False, ensure_ascii=False, sort_keys=True)
    if (size := len(text.encode())) > MAX_DOCUMENT_BYTES:
        raise ValueError(f"inspection takes {size} bytes, more than the {MAX_DOCUMENT_BYTES} allowed")
    return text


def inspection_from_text(text: str | bytes) -> Inspection:
    """The inspection of a document. Raises DocumentProblem naming the first thing wrong with it."""
    try:
        data = text.encode() if isinstance(text, str) else text
        document = read_json(data, MAX_DOCUMENT_BYTES)
    except ValueError as error:  # a half character makes encode raise one as well
        raise DocumentProblem(f"The inspection cannot be read: {error}.", _ADVICE_UNREADABLE) from None
    _check_envelope(document)
    try:
        # As JSON again, so that lists become tuples and times are read while everything else stays strict.
        return _ADAPTER.validate_json(json.dumps(document["inspection"], allow_nan=False))
    except ValidationError as error:
        raise DocumentProblem(f"The inspection cannot be read: {first_error(error)}.", _ADVICE_UNREADABLE) from None


def _check_envelope(document: dict[str, Any]) -> None:
    if document.get("schema") != SCHEMA:
        raise DocumentProblem("This is not an inspection's document.", "Choose another file.")
    version = document.get("schema_version")
    if type(version) is int and version > SCHEMA_VERSION:
        raise DocumentProblem(
            f"The inspection was written by a newer version (schema {version}, this one reads {SCHEMA_VERSION}).",
            "Bring this program up to date, then open it again.",
        )
    if version != SCHEMA_VERSION or type(version) is not int:
        raise DocumentProblem(f"The inspection has no known schema version: {version!r:.40}.", _ADVICE_UNREADABLE)
    if set(document) != {"schema", "schema_version", "inspection"}:
        raise DocumentProblem("The inspection's document has missing or unknown parts.", _ADVICE_UNREADABLE)
