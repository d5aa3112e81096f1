"""The single file one inspection travels in: a ZIP archive with a manifest, the document and the photographs.

    manifest.json     what is inside, each with its size and SHA-256, which version wrote it and when
    inspection.json   the document of `app.record.document`
    photos/HASH.jpg   every photograph it points to, without location data (also .png, .webp, .heic)

The manifest is the law: a file that holds more, less or other than it says is refused.
"""

from typing import Annotated, Final, Literal

from pydantic import ConfigDict, Field, StringConstraints, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass

from app.record.checked import first_error
from app.record.document import MAX_DOCUMENT_BYTES
from app.record.inspection import Line, PhotoHash, Time
from app.record.plain_json import read_json
from app.record.privacy import PictureFormat
from app.record.problems import ExchangeProblem
from vision.photo.refusal import MAX_BYTES

FILE_ENDING = ".necksighting"
FORMAT: Final = "neck-sighting export"
FORMAT_VERSION: Final = 1
MANIFEST, DOCUMENT = "manifest.json", "inspection.json"
Ending = Literal["jpg", "png", "webp", "heic"]
ENDINGS: dict[PictureFormat, Ending] = {"JPEG": "jpg", "PNG": "png", "WebP": "webp", "HEIF": "heic"}
MAX_PHOTOS = 600
MAX_MANIFEST_BYTES = 2**20
MAX_FILE_BYTES = 2**30

_STRICT = ConfigDict(strict=True, extra="forbid")


@dataclass(frozen=True, slots=True, config=_STRICT)
class PhotoEntry:
    """One photograph in the file; its member is photos/SHA256.ENDING."""

    sha256: PhotoHash
    ending: Ending
    bytes: Annotated[int, Field(ge=1, le=MAX_BYTES)]

    @property
    def member(self) -> str:
        """Its name in the archive."""
        return f"photos/{self.sha256}.{self.ending}"


@dataclass(frozen=True, slots=True, config=_STRICT)
class LeftOut:
    """A photograph the inspection points to that could not be sent along, and why."""

    sha256: PhotoHash
    reason: Annotated[str, StringConstraints(max_length=500)]


@dataclass(frozen=True, slots=True, config=_STRICT)
class Manifest:
    """The contents of an export file. made_by: version of this program; times UTC."""

    format: Literal["neck-sighting export"]
    format_version: Literal[1]
    made_by: Line
    made_at: Time
    document_sha256: PhotoHash
    document_bytes: Annotated[int, Field(ge=2, le=MAX_DOCUMENT_BYTES)]
    photos: Annotated[tuple[PhotoEntry, ...], Field(max_length=MAX_PHOTOS)]
    left_out: Annotated[tuple[LeftOut, ...], Field(max_length=MAX_PHOTOS)]


_ADAPTER: TypeAdapter[Manifest] = TypeAdapter(Manifest)


def manifest_to_bytes(manifest: Manifest) -> bytes:
    """The manifest as JSON."""
    return _ADAPTER.dump_json(manifest, indent=1)


def manifest_from_bytes(data: bytes) -> Manifest:
    """The manifest in data. Raises ExchangeProblem when it is not one that this version reads."""
    try:
        version = read_json(data, MAX_MANIFEST_BYTES).get("format_version")
        if type(version) is int and version > FORMAT_VERSION:
            raise ExchangeProblem(
                f"The file was written by a newer version (format {version}, this one reads {FORMAT_VERSION}).",
                "Bring this program up to date, then import it again.",
            )
        return _ADAPTER.validate_json(data)
    except ValidationError as error:
        raise refused(f"its manifest is not valid: {first_error(error)}") from None
    except ValueError as error:
        raise refused(f"its manifest cannot be read: {error}") from None


def refused(reason: str) -> ExchangeProblem:
    """The problem of an import file, in the words every refusal shares."""
    return ExchangeProblem(
        f"The file was not imported: {reason}.",
        "Nothing has been stored. Export it again from where it was made, and copy it whole and unchanged.",
    )
