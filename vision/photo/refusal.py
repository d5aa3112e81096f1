"""The reasons a file is turned away while decoding, with the words shown for each."""

from vision.photo.photograph import Unreadable

MAX_BYTES = 64 * 1024 * 1024
MAX_PIXELS = 120_000_000
MAX_PIXELS_COSTLY = 64_000_000  # for readers that take 11 to 17 bytes a pixel, others take 10 at most
MIN_SHORT_SIDE_PX = 600  # below this a fret at the far end is under about two pixels wide

_SEND_ORIGINAL = "Send the photograph as the camera saved it (JPEG, HEIC, PNG, WebP or TIFF)."

_WORDS: dict[str, tuple[str, str]] = {
    "empty": ("the file is empty", "Choose the file again; the upload or copy may have been cut off."),
    "too_many_bytes": (
        f"the file is larger than {MAX_BYTES // 2**20} MiB",
        "Save the photograph as a JPEG at full size and use that file.",
    ),
    "not_a_picture": ("the file is not a picture this program knows", _SEND_ORIGINAL),
    "format_not_read": ("{detail} files are not read", _SEND_ORIGINAL),
    "raw_format": (
        "the file is a camera raw file or holds only a preview in the place of the picture",
        "Export a full-size JPEG without cropping, straightening or lens correction.",
    ),
    "several_pictures": (
        "the file is animated or holds several pictures",
        "Send one still photograph a file.",
    ),
    "too_small": (
        f"the picture is only {{detail}} pixels; the shorter side must have at least {MIN_SHORT_SIDE_PX}",
        "Send the full-size photograph, not a preview or one that was made smaller for a message.",
    ),
    "too_large": (
        "the picture claims {detail} million in all",
        "Take the photograph at the camera's ordinary setting (8 to 50 megapixels).",
    ),
    "pixel_kind": (
        "the picture stores its tones in a way that is not read ({detail})",
        "Save it as an ordinary 8-bit or 16-bit colour picture.",
    ),
    "damaged": (
        "the picture is damaged or cut off and cannot be decoded in full",
        "Copy or upload the file again; if it still fails, take the photograph again.",
    ),
}


class UnreadableError(Exception):
    """Raised inside the decoder only; `decode_photograph` turns it into an `Unreadable`."""

    def __init__(self, code: str, detail: str = "") -> None:
        super().__init__(code)
        self.code = code
        self.detail = detail


def unreadable(name: str, error: UnreadableError) -> Unreadable:
    """Words for a refusal. Raises KeyError for an unknown code, which is a programming error."""
    reason, advice = _WORDS[error.code]
    return Unreadable(name, error.code, reason.format(detail=error.detail), advice)
