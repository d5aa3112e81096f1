"""Whole files of every format, small and without a guitar in them: what the fuzz run mutates.

Pictures are just large enough to be decoded in full, so that a mutation reaches the codec and not only the check
of the size.
"""

import io
import struct
import zipfile
import zlib
from functools import cache

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageDraw
from PIL.TiffImagePlugin import IFDRational

Pixels = NDArray[np.uint8]
SIDE_PX = 604
PICTURES = ("JPEG", "PNG", "WebP", "HEIF", "TIFF")
OTHERS = ("GIF", "BMP", "SVG", "PDF", "ZIP", "text")

_HUGE_SIDE_PX = 20_000
_ABSURD_ENTRIES: tuple[tuple[int, object], ...] = (
    (0xA405, 0),
    (0xA405, 65535),
    (0xA405, IFDRational(1, 0)),
    (0xA405, "twenty-six"),
    (0xA405, b"\xff" * 300),
    (0xA002, 2**32 - 1),
    (0xA003, IFDRational(0, 0)),
    (0x920A, IFDRational(2**32 - 1, 1)),
    (0x927C, b"\x00" * 5000),
)


@cache
def originals(kind: str) -> tuple[bytes, ...]:
    """Files of one kind. Raises KeyError for an unknown kind."""
    return {
        "JPEG": _jpegs, "PNG": _pngs, "WebP": _webps, "HEIF": _heifs, "TIFF": _tiffs,
        "GIF": _gifs, "BMP": _bmps, "SVG": _svgs, "PDF": _pdfs, "ZIP": _zips, "text": _texts,
    }[kind]()  # fmt: skip


def still_life(width: int = SIDE_PX, height: int = SIDE_PX) -> Pixels:
    """Coloured blocks on a slope of tones: edges and smooth parts, and small when packed."""
    rng = np.random.default_rng(11)
    blocks = rng.integers(0, 120, (8, 8, 3), dtype=np.uint8)
    blocks = np.kron(blocks, np.ones((-(-height // 8), -(-width // 8), 1), np.uint8))[:height, :width]
    return blocks + np.linspace(0, 100, width).astype(np.uint8)[None, :, None]


def drawing(rng: np.random.Generator) -> bytes:
    """A PNG of crossing lines that is no neck: fences, ladders, sleepers, tiles, at any angle and spacing."""
    width, height = (int(side) for side in rng.integers(620, 820, 2))
    canvas = Image.new("RGB", (width, height), tuple(int(c) for c in rng.integers(0, 256, 3)))
    pen = ImageDraw.Draw(canvas)
    ink = tuple(int(c) for c in rng.integers(0, 256, 3))
    top_px, bottom_px = rng.uniform(20, 120), rng.uniform(150, 300)
    power = rng.uniform(0.5, 1.5)  # even spacing in a plane seen at a slant, and others
    for share in np.linspace(0, 1, int(rng.integers(8, 45))) ** power:
        half = top_px + (bottom_px - top_px) * share
        y = 20 + share * (height - 40)
        pen.line((width / 2 - half, y, width / 2 + half, y), fill=ink, width=int(rng.integers(1, 6)))
    for share in np.linspace(-1, 1, int(rng.integers(2, 9))):
        ends = (width / 2 + share * top_px, 20, width / 2 + share * bottom_px, height - 20)
        pen.line(ends, fill=ink, width=int(rng.integers(1, 5)))
    turned = canvas.rotate(float(rng.uniform(0, 360)), Image.Resampling.BILINEAR)
    noisy = np.asarray(turned).astype(np.int16) + rng.integers(-6, 7, (height, width, 3), dtype=np.int16)
    return _saved(Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)), "PNG", compress_level=1)


def _saved(image: Image.Image, kind: str, **options: object) -> bytes:
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def _image(mode: str = "RGB") -> Image.Image:
    image = Image.fromarray(still_life())
    if mode == "RGBA":
        image.putalpha(Image.linear_gradient("L").resize(image.size))
        return image
    return image.convert(mode)


def _sixteen_bit() -> Image.Image:
    return Image.fromarray(still_life()[..., 0].astype(np.uint16) * 257)


def _exif(orientation: int, *entries: tuple[int, object]) -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif.get_ifd(0x8769).update(dict(entries) or {0xA405: 26, 0xA002: SIDE_PX, 0xA003: SIDE_PX})
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 59.0, 58.5), 3: "E", 4: (11.0, 58.0, 57.5)})
    return exif


def _profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def _jpegs() -> tuple[bytes, ...]:
    image = _image()
    return (
        _saved(image, "JPEG", exif=_exif(6), icc_profile=_profile()),
        _saved(image, "JPEG", progressive=True, exif=_exif(8), xmp=b"<x:xmpmeta/>", comment=b"remark"),
        _saved(_image("L"), "JPEG"),
        _saved(_image("CMYK"), "JPEG", exif=_exif(3)),
        _saved(Image.new("RGB", (1, 1)), "JPEG"),
        *(_saved(image, "JPEG", exif=_exif(65535, entry)) for entry in _ABSURD_ENTRIES),
    )


def _pngs() -> tuple[bytes, ...]:
    image = _image()
    palette = image.quantize(64)
    return (
        _saved(image, "PNG", exif=_exif(5), icc_profile=_profile()),
        _saved(_sixteen_bit(), "PNG"),
        _saved(_image("L"), "PNG"),
        _saved(_image("1"), "PNG"),
        _saved(palette, "PNG", transparency=bytes(range(64))),
        _saved(_image("RGBA"), "PNG"),
        _saved(_image("LA"), "PNG"),
        _saved(palette, "PNG", save_all=True, append_images=[palette.rotate(90)]),
        _saved(Image.new("RGB", (1, 1)), "PNG"),
        _bilevel_png(_HUGE_SIDE_PX, _HUGE_SIDE_PX),
    )


def _bilevel_png(width: int, height: int) -> bytes:
    """A whole, valid, black PNG, written row by row."""
    packer = zlib.compressobj(1)
    row = bytes(1 + -(-width // 8))
    packed = b"".join([*(packer.compress(row) for _ in range(height)), packer.flush()])
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", packed), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(name, body) for name, body in chunks)


def png_chunk(name: bytes, body: bytes) -> bytes:
    """One chunk of a PNG with its length and its right check sum."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def _webps() -> tuple[bytes, ...]:
    image = _image()
    return (
        _saved(image, "WEBP", method=0, exif=_exif(6), icc_profile=_profile()),
        _saved(image, "WEBP", method=0),
        _saved(image, "WEBP", lossless=True, method=0),
        _saved(_image("RGBA"), "WEBP", method=0, exif=_exif(2, _ABSURD_ENTRIES[2])),
        _saved(image, "WEBP", method=0, save_all=True, append_images=[image.rotate(90)]),
        _saved(Image.new("RGB", (1, 1)), "WEBP"),
    )


def _heifs() -> tuple[bytes, ...]:
    pillow_heif.register_heif_opener()
    image = _image()
    deep = pillow_heif.from_bytes("I;16", (SIDE_PX, SIDE_PX), np.asarray(_sixteen_bit()).tobytes())
    several = pillow_heif.from_pillow(image)
    several.add_from_pillow(image.rotate(90))
    files = [io.BytesIO(), io.BytesIO()]
    deep.save(files[0], quality=60)
    several.save(files[1], quality=60)
    return (
        _saved(image, "HEIF", quality=60, exif=_exif(6).tobytes(), icc_profile=_profile()),
        _saved(image, "HEIF", quality=60, exif=_exif(1, _ABSURD_ENTRIES[5]).tobytes()),
        _saved(_image("L"), "HEIF", quality=60),
        _saved(_image("RGBA"), "HEIF", quality=60),
        *(file.getvalue() for file in files),
    )


def _tiffs() -> tuple[bytes, ...]:
    image = _image()
    return (
        _saved(image, "TIFF", compression="tiff_lzw", exif=_exif(6)),
        _saved(image, "TIFF", compression="tiff_deflate"),
        _saved(image, "TIFF", compression="jpeg"),
        _saved(_image("CMYK"), "TIFF", compression="packbits"),
        _saved(_sixteen_bit(), "TIFF"),
        _saved(_image("1"), "TIFF", compression="group4"),
        _saved(_image("F"), "TIFF"),
        _saved(image.quantize(64), "TIFF", compression="tiff_lzw"),
        _saved(image, "TIFF", compression="tiff_lzw", save_all=True, append_images=[image]),
        _saved(Image.new("RGB", (1, 1)), "TIFF"),
    )


def _gifs() -> tuple[bytes, ...]:
    palette = _image().quantize(16)
    return (_saved(palette, "GIF"), _saved(palette, "GIF", save_all=True, append_images=[palette.rotate(90)]))


def _bmps() -> tuple[bytes, ...]:
    return (_saved(_image("L"), "BMP"), _saved(_image("1"), "BMP"))


def _svgs() -> tuple[bytes, ...]:
    bomb = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10 if k else "x"}">' for k in range(10))
    return (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="900" height="900"><path d="M0 0L9 9"/></svg>',
        f'<?xml version="1.0"?><!DOCTYPE svg [{bomb}]><svg xmlns="http://www.w3.org/2000/svg">&e9;</svg>'.encode(),
    )


def _pdfs() -> tuple[bytes, ...]:
    return (_saved(_image("L"), "PDF"), b"%PDF-1.7\n1 0 obj\n<</Type/Catalog>>\nendobj\n%%EOF\n")


def _zips() -> tuple[bytes, ...]:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("../../picture.jpg", originals("JPEG")[0])
        archive.writestr("zeros", bytes(2**22))
    return (file.getvalue(),)


def _texts() -> tuple[bytes, ...]:
    return (b"just a note\n", b"", b"\x00" * 4096, b"\xff\xfe" + "a note".encode("utf-16-le"), b"\xff\xd8\xff" * 900)
