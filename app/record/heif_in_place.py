"""A HEIF file with everything but its pictures blanked where it stands, so that no pixel is coded anew.

Layout after ISO/IEC 14496-12 (boxes, meta, iinf, iloc) and 23008-12 (items and properties). The file keeps its
length and every box its place: offsets in it stay true. What is not known to be part of a picture becomes
zeros; the camera record's item gets a new, shorter record.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from PIL import Image

_TOP_KEPT = {b"ftyp", b"meta", b"mdat"}
_META_KEPT = {b"hdlr", b"pitm", b"iinf", b"iloc", b"iprp", b"iref", b"idat"}
_PROPERTIES_KEPT = {b"ispe", b"hvcC", b"av1C", b"irot", b"imir", b"pixi", b"colr", b"auxC", b"clap", b"pasp"} | {
    *(b"clli", b"mdcv"),
}
_PICTURES = {b"hvc1", b"hev1", b"av01", b"grid", b"iovl", b"iden"}
_CAMERA_RECORD = b"Exif"
_MAX_PIECES = 20_000  # boxes or items; ordinary files have about a hundred

Range = tuple[int, int]


@dataclass(frozen=True)
class _Box:
    """A box of the file: where it starts, where its contents start and end."""

    kind: bytes
    start: int
    body: int
    end: int


class _Numbers:
    """Big-endian numbers, read one after the other up to an end."""

    def __init__(self, data: bytes, start: int, end: int) -> None:
        self._data, self.position, self._end = data, start, end

    def next(self, size: int) -> int:
        at = self.position
        self.position += size
        if self.position > self._end:
            raise ValueError("a box is cut off")
        return int.from_bytes(self._data[at : self.position], "big")


def heif_with_pictures_only(data: bytes, exif: bytes) -> bytes:
    """data with all but its coded pictures blanked, and exif in the place of its camera record if it has one.

    exif : a block that starts "Exif", 0, 0, or empty.

    Raises ValueError when the file is laid out in a way not handled here; it must then be written anew.
    """
    out = bytearray(data)
    top = list(_boxes(data, 0, len(data)))
    _blank_others(out, top, _TOP_KEPT)
    meta = _only(top, b"meta")
    inside = list(_boxes(data, meta.body + 4, meta.end))
    _blank_others(out, inside, _META_KEPT)
    container = _only(list(_boxes(data, _only(inside, b"iprp").body, _only(inside, b"iprp").end)), b"ipco")
    _blank_others(out, list(_boxes(data, container.body, container.end)), _PROPERTIES_KEPT)
    stores = [box for box in top if box.kind == b"mdat"] + [box for box in inside if box.kind == b"idat"]
    kinds = _item_kinds(data, _only(inside, b"iinf"))
    places = _item_places(data, _only(inside, b"iloc"), [box.body for box in inside if box.kind == b"idat"])
    pictures = [place for item, found in places.items() if kinds.get(item) in _PICTURES for place in found]
    for store in stores:
        out[store.body : store.end] = bytes(store.end - store.body)
        for start, end in pictures:
            start, end = max(start, store.body), min(end, store.end)
            if start < end:
                out[start:end] = data[start:end]
    for item, found in places.items():
        if kinds.get(item) == _CAMERA_RECORD:
            _put_record(out, found, exif or Image.Exif().tobytes(), stores, pictures)
    return bytes(out)


def _boxes(data: bytes, start: int, end: int) -> Iterator[_Box]:
    for _ in range(_MAX_PIECES):
        if start == end:
            return
        numbers = _Numbers(data, start, end)
        size = numbers.next(4)
        kind = data[start + 4 : start + 8]
        numbers.next(4)
        if size == 1:
            size = numbers.next(8)
        elif size == 0:
            size = end - start
        if start + size < numbers.position or start + size > end:
            raise ValueError("a box does not fit where it stands")
        yield _Box(kind, start, numbers.position, start + size)
        start += size
    raise ValueError("absurdly many boxes")


def _only(boxes: list[_Box], kind: bytes) -> _Box:
    found = [box for box in boxes if box.kind == kind]
    if len(found) != 1:
        raise ValueError(f"{len(found)} boxes {kind!r} where one belongs")
    return found[0]


def _blank_others(out: bytearray, boxes: list[_Box], kept: set[bytes]) -> None:
    for box in boxes:
        if box.kind not in kept:
            out[box.start + 4 : box.start + 8] = b"free"
            out[box.body : box.end] = bytes(box.end - box.body)


def _item_kinds(data: bytes, table: _Box) -> dict[int, bytes]:
    numbers = _Numbers(data, table.body, table.end)
    numbers.next(2 if numbers.next(4) >> 24 == 0 else 4)  # the count; the boxes say it themselves
    kinds: dict[int, bytes] = {}
    for box in _boxes(data, numbers.position, table.end):
        entry = _Numbers(data, box.body, box.end)
        version = entry.next(4) >> 24
        if box.kind != b"infe" or version not in (2, 3):
            raise ValueError("an item is described in a way not handled")
        item = entry.next(2 if version == 2 else 4)
        entry.next(2)  # protection
        kinds[item] = entry.next(4).to_bytes(4, "big")
    return kinds


def _item_places(data: bytes, table: _Box, idat: list[int]) -> dict[int, list[Range]]:
    numbers = _Numbers(data, table.body, table.end)
    version = numbers.next(4) >> 24
    sizes = numbers.next(2)
    offset_size, length_size, base_size = sizes >> 12, sizes >> 8 & 15, sizes >> 4 & 15
    index_size = sizes & 15 if version else 0
    wide = 4 if version == 2 else 2
    places: dict[int, list[Range]] = {}
    for _ in range(_bounded(numbers.next(wide))):
        item = numbers.next(wide)
        method = numbers.next(2) & 15 if version else 0
        elsewhere = numbers.next(2)
        base = numbers.next(base_size)
        if method > 1 or elsewhere or item in places or (method == 1 and not idat):
            raise ValueError("an item lies in a way not handled")
        base += idat[0] if method == 1 else 0
        places[item] = []
        for _ in range(_bounded(numbers.next(2))):
            numbers.next(index_size)
            start = base + numbers.next(offset_size)
            length = numbers.next(length_size)
            if length == 0 or start + length > len(data):
                raise ValueError("an item is empty or cut off")
            places[item].append((start, start + length))
    return places


def _bounded(count: int) -> int:
    if count > _MAX_PIECES:
        raise ValueError("absurdly many items")
    return count


def _put_record(out: bytearray, found: list[Range], exif: bytes, stores: list[_Box], pictures: list[Range]) -> None:
    """The new record in the place of the old one, after the four bytes that say where in it the TIFF part starts."""
    block = len(b"Exif\x00\x00").to_bytes(4, "big") + exif
    if len(found) != 1:
        raise ValueError("the camera record lies in pieces")
    start, end = found[0]
    if not any(store.body <= start and end <= store.end for store in stores) or end - start < len(block):
        raise ValueError("the camera record has no room")
    if any(start < there_end and there_start < end for there_start, there_end in pictures):
        raise ValueError("the camera record overlaps a picture")
    out[start : start + len(block)] = block
