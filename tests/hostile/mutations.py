"""What is done to a file before it is opened: damage that happens, and damage made on purpose."""

import struct
from collections.abc import Callable

import numpy as np

from tests.hostile.originals import PICTURES, originals, png_chunk

Mutation = Callable[[bytearray, np.random.Generator], bytearray]
_HUGE_SIDES = (0, 1, 599, 16383, 20000, 65535, 2**24 - 1, 2**31 - 1, 2**32 - 1)
_ODD_NUMBERS = (0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF)


def mutated(data: bytes, kind: str, rng: np.random.Generator) -> bytes:
    """data, changed in one to three ways, once in twelve not at all; a size in its header lies once in six."""
    if rng.random() < 1 / 12:
        return data
    out = bytearray(data)
    if rng.random() < 1 / 6:
        out = _with_declared_size(out, kind, rng)
        if rng.random() < 0.5:
            return bytes(out)
    for _ in range(int(rng.integers(1, 4))):
        if out:
            out = _GENERAL[int(rng.integers(len(_GENERAL)))](out, rng)
    return bytes(out)


def _flip_bits(data: bytearray, rng: np.random.Generator) -> bytearray:
    for at in rng.integers(0, len(data), int(2 ** rng.uniform(0, 6))):
        data[at] ^= 1 << int(rng.integers(8))
    return data


def _flip_in_header(data: bytearray, rng: np.random.Generator) -> bytearray:
    for at in rng.integers(0, min(len(data), 400), int(rng.integers(1, 9))):
        data[at] ^= 1 << int(rng.integers(8))
    return data


def _odd_number(data: bytearray, rng: np.random.Generator) -> bytearray:
    """A length, count or offset somewhere near the start becomes absurd."""
    number = _ODD_NUMBERS[int(rng.integers(len(_ODD_NUMBERS)))]
    size = int(rng.choice([1, 2, 4]))
    at = int(rng.integers(0, min(len(data), 600)))
    packed = (number & (256**size - 1)).to_bytes(size, rng.choice(["little", "big"]))
    data[at : at + size] = packed
    return data


def _cut_off(data: bytearray, rng: np.random.Generator) -> bytearray:
    return data[: int(rng.integers(0, len(data)))]


def _block(data: bytearray, rng: np.random.Generator) -> tuple[int, int]:
    start = int(rng.integers(0, len(data)))
    return start, min(len(data), start + int(2 ** rng.uniform(0, 13)))


def _double_block(data: bytearray, rng: np.random.Generator) -> bytearray:
    start, end = _block(data, rng)
    return data[:end] + data[start:end] + data[end:]


def _remove_block(data: bytearray, rng: np.random.Generator) -> bytearray:
    start, end = _block(data, rng)
    return data[:start] + data[end:]


def _blank_block(data: bytearray, rng: np.random.Generator) -> bytearray:
    start, end = _block(data, rng)
    data[start:end] = bytes([int(rng.choice([0, 255]))]) * (end - start)
    return data


def _noise_block(data: bytearray, rng: np.random.Generator) -> bytearray:
    start, end = _block(data, rng)
    data[start:end] = rng.bytes(end - start)
    return data


def _splice(data: bytearray, rng: np.random.Generator) -> bytearray:
    """The start of this file with the end of one of another kind."""
    files = originals(PICTURES[int(rng.integers(len(PICTURES)))])
    other = files[int(rng.integers(len(files)))]
    return data[: int(rng.integers(0, len(data)))] + other[int(rng.integers(0, len(other))) :]


_GENERAL: tuple[Mutation, ...] = (
    _flip_bits, _flip_bits, _flip_in_header, _odd_number, _odd_number, _cut_off,
    _double_block, _remove_block, _blank_block, _noise_block, _splice,
)  # fmt: skip


def _with_declared_size(data: bytearray, kind: str, rng: np.random.Generator) -> bytearray:
    """Width and height in the header become others, everything else, check sums included, in order."""
    width, height = (int(side) for side in rng.choice(_HUGE_SIDES, 2))
    if kind == "PNG" and data[12:16] == b"IHDR":
        data[8:33] = png_chunk(b"IHDR", struct.pack(">II", width, height) + bytes(data[24:29]))
    elif kind == "JPEG":
        at = max(data.find(b"\xff\xc0"), data.find(b"\xff\xc2"))
        if at >= 0:
            data[at + 5 : at + 9] = struct.pack(">HH", height & 0xFFFF, width & 0xFFFF)
    elif kind == "WebP" and data[12:16] == b"VP8X":
        data[24:30] = (width & 0xFFFFFF).to_bytes(3, "little") + (height & 0xFFFFFF).to_bytes(3, "little")
    elif kind == "WebP" and data[12:16] == b"VP8 ":
        data[26:30] = struct.pack("<HH", width & 0x3FFF, height & 0x3FFF)
    elif kind == "HEIF":
        at = data.find(b"ispe")
        if at >= 0:
            data[at + 8 : at + 16] = struct.pack(">II", width, height)
    elif kind == "TIFF" and data[:2] == b"II":
        _set_tiff_size(data, width, height)
    return data


def _set_tiff_size(data: bytearray, width: int, height: int) -> None:
    """Tags 256 and 257 of the first directory (TIFF 6.0), written as 32-bit numbers."""
    start = int.from_bytes(data[4:8], "little")
    for at in range(start + 2, start + 2 + 12 * int.from_bytes(data[start : start + 2], "little"), 12):
        tag = int.from_bytes(data[at : at + 2], "little")
        if tag in (256, 257):
            data[at + 2 : at + 12] = struct.pack("<HII", 4, 1, width if tag == 256 else height)
