"""Files that look small and are made to cost their reader much: built, never downloaded."""

import struct
import zlib
from collections.abc import Callable, Iterator
from io import BytesIO
from itertools import cycle
from typing import Any

from PIL import Image

Maker = Callable[[], bytes]


def saved(image: Image.Image, kind: str, **options: Any) -> bytes:
    written = BytesIO()
    image.save(written, kind, **options)
    return written.getvalue()


def chunk(name: bytes, content: bytes) -> bytes:
    return (
        struct.pack(">I", len(content))
        + name
        + content
        + struct.pack(">I", zlib.crc32(name + content))
    )


def png(width: int, height: int, *, depth: int = 8, colour: int = 2, interlaced: bool = False,
        extra: bytes = b"", rows: int | None = None) -> bytes:  # fmt: skip
    """One colour, deflated to next to nothing. ``colour``: 0 grey, 2 RGB, 3 palette, 4 grey with
    alpha, 6 RGB with alpha. ``rows`` fewer than the height: broken off."""
    bits = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour] * depth
    ihdr = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, int(interlaced))
    body = _deflated(_lines(width, height, bits, interlaced, rows))
    palette = chunk(b"PLTE", bytes(range(48)) * 16) if colour == 3 else b""
    parts = chunk(b"IHDR", ihdr), palette, extra, chunk(b"IDAT", body), chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


ADAM7 = (
    (0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2),
    (0, 1, 1, 2),
)  # fmt: skip
"""Where each pass begins and how far apart its pixels are: PNG, 8.2."""


def _lines(
    width: int, height: int, bits: int, interlaced: bool, rows: int | None
) -> Iterator[bytes]:
    for x, y, across, down in ADAM7 if interlaced else ((0, 0, 1, 1),):
        wide, tall = -(-(width - x) // across), -(-(height - y) // down)
        line = b"\0" + b"\x11" * -(-wide * bits // 8)
        for _ in range(tall if rows is None else min(rows, tall)):
            yield line


def _deflated(lines: Iterator[bytes]) -> bytes:
    packer = zlib.compressobj(1)
    return b"".join([*(packer.compress(one) for one in lines), packer.flush()])


def text_bomb() -> bytes:
    """64 texts that unpack to a megabyte each, of letters that take four bytes in memory."""
    text = ("🐍" + "a" * 990_000).encode()
    one = chunk(b"iTXt", b"k\0\1\0\0\0" + zlib.compress(text))
    return png(400, 300, extra=one * 64)


def profile_bomb() -> bytes:
    return png(400, 300, extra=chunk(b"iCCP", b"p\0\0" + zlib.compress(bytes(400_000_000), 1)))


def photo(width: int, height: int, mode: str = "RGB") -> Image.Image:
    """Grain over a colour, quick to make at any size."""
    grain = Image.effect_noise((512, 512), 40)
    image = Image.new("L", (width, height))
    for x in range(0, width, 512):
        for y in range(0, height, 512):
            image.paste(grain, (x, y))
    bands = len(Image.new(mode, (1, 1)).getbands())
    return Image.merge(mode, [image] * bands) if bands > 1 else image


def segment(marker: int, content: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(content) + 2) + content


def jpeg_with(segments: bytes) -> bytes:
    plain = saved(photo(600, 400), "JPEG")
    return plain[:2] + segments + plain[2:]


def many_profiles() -> bytes:
    """24 MB of colour profile, Exif and comments, whatever a reader keeps."""
    names = cycle([b"ICC_PROFILE\0\1\1", b"Exif\0\0", b"http://ns.adobe.com/xap/1.0/\0"])
    markers = cycle([0xE2, 0xE1, 0xE1, 0xFE])
    return jpeg_with(b"".join(
        segment(next(markers), next(names) + bytes(60_000)) for _ in range(390)
    ))  # fmt: skip


def many_scans(times: int) -> bytes:
    """A progressive file whose last scan comes again and again; with nothing in it that takes
    few bytes, and a decoder goes over the whole picture each time."""
    plain = saved(Image.new("L", (2000, 1500), 90), "JPEG", progressive=True)
    return plain[:-2] + plain[plain.rindex(b"\xff\xda") : -2] * times + b"\xff\xd9"


def separate_scans(width: int, height: int) -> bytes:
    """Baseline, but each colour in a scan of its own, so that a decoder keeps all of them."""
    grey = saved(Image.new("L", (width, height), 90), "JPEG")
    start, scan = grey.index(b"\xff\xc0"), grey.index(b"\xff\xda")
    frame = grey[start + 4 : start + 4 + struct.unpack(">H", grey[start + 2 : start + 4])[0] - 2]
    colours = b"".join(bytes([id, 0x11, 0]) for id in (1, 2, 3))
    after = scan + 2 + struct.unpack(">H", grey[scan + 2 : scan + 4])[0]
    head = grey[:start] + segment(0xC0, frame[:5] + b"\3" + colours)
    rest = grey[start + 4 + len(frame) : scan]
    scans = b"".join(
        segment(0xDA, bytes([1, id, 0, 0, 63, 0])) + grey[after:-2] for id in (1, 2, 3)
    )
    return head + rest + scans + b"\xff\xd9"


def riff(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def webp_claiming(width: int, height: int) -> bytes:
    """A canvas of that size in the header, and one pixel behind it."""
    canvas = bytes(4) + (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    inner = saved(Image.new("RGB", (1, 1)), "WEBP", lossless=True)[12:]
    body = b"WEBP" + riff(b"VP8X", canvas) + inner
    return b"RIFF" + struct.pack("<I", len(body)) + body


EXIF_SIDEWAYS = Image.Exif()
EXIF_SIDEWAYS[0x0112] = 6

COSTLY: dict[str, Maker] = {
    "PNG of one colour, 59 million pixels": lambda: png(7700, 7700),
    "PNG, 12 million pixels": lambda: png(4000, 3000),
    "PNG with alpha": lambda: png(4000, 3000, colour=6),
    "PNG, interlaced, with alpha": lambda: png(4000, 3000, colour=6, interlaced=True),
    "PNG of 16 bits, with alpha": lambda: png(4000, 3000, depth=16, colour=6),
    "PNG of 16 bits, interlaced": lambda: png(4000, 3000, depth=16, interlaced=True),
    "PNG of 16 bits, grey": lambda: png(4000, 3000, depth=16, colour=0),
    "PNG, grey with alpha": lambda: png(4000, 3000, colour=4),
    "PNG with a palette": lambda: png(4000, 3000, colour=3),
    "PNG of one bit": lambda: png(4000, 3000, depth=1, colour=0),
    "PNG, one line": lambda: png(12_000_000, 1),
    "PNG, broken off": lambda: png(4000, 3000, colour=6)[:150_000],
    "PNG with fewer lines than it says": lambda: png(4000, 3000, colour=6, rows=2500),
    "PNG with texts that unpack": text_bomb,
    "PNG with a profile that unpacks": profile_bomb,
    "PNG of noise, 24 MB": lambda: saved(photo(3000, 2700), "PNG", compress_level=0),
    "PNG of noise with alpha, 24 MB": lambda: saved(
        photo(2400, 2300, "RGBA"), "PNG", compress_level=0
    ),
    "PNG, animated": lambda: saved(
        photo(4000, 3000), "PNG", save_all=True, append_images=[photo(4000, 3000)], compress_level=1
    ),
    "JPEG, 60 million pixels": lambda: saved(photo(8900, 6700), "JPEG", quality=60),
    "JPEG, 60 million pixels, on its side": lambda: saved(
        photo(8900, 6700), "JPEG", quality=20, exif=EXIF_SIDEWAYS
    ),
    "JPEG, progressive, 60 million pixels": lambda: saved(
        photo(8900, 6700, "L"), "JPEG", quality=10, progressive=True
    ),
    "JPEG, progressive, 8 million pixels, nothing thinned": lambda: saved(
        photo(3264, 2448), "JPEG", quality=95, progressive=True, subsampling=0, exif=EXIF_SIDEWAYS
    ),
    "JPEG, CMYK, square": lambda: saved(photo(4095, 4095, "CMYK"), "JPEG", quality=60),
    "JPEG, CMYK, progressive": lambda: saved(
        photo(2828, 2828, "CMYK"), "JPEG", quality=60, progressive=True
    ),
    "JPEG in separate scans": lambda: separate_scans(8900, 6700),
    "JPEG, long and narrow": lambda: saved(photo(65_000, 900), "JPEG", quality=30),
    "JPEG drawn thousands of times over": lambda: many_scans(5_000),
    "JPEG with much beside the picture": many_profiles,
    "JPEG, broken off": lambda: saved(photo(8900, 6700), "JPEG", quality=30)[:2_000_000],
    "JPEG with a second picture behind": lambda: saved(
        photo(4000, 3000), "MPO", save_all=True, append_images=[photo(4000, 3000)]
    ),
    "WebP, 12 million pixels": lambda: saved(photo(4000, 3000), "WEBP", quality=10, method=0),
    "WebP, 6 million pixels": lambda: saved(photo(3000, 2000), "WEBP", quality=80, method=0),
    "WebP, 6 million pixels, with alpha": lambda: saved(
        photo(3000, 2000, "RGBA"), "WEBP", quality=80, method=0, exif=EXIF_SIDEWAYS
    ),
    "WebP without loss": lambda: saved(
        Image.new("RGBA", (3000, 2000), (9, 9, 9, 9)), "WEBP", lossless=True, method=0
    ),
    "WebP, animated": lambda: saved(
        photo(3000, 2000), "WEBP", save_all=True, append_images=[Image.new("RGB", (3000, 2000))],
        method=0,
    ),
    "WebP of a false size": lambda: webp_claiming(16_383, 16_383),
}  # fmt: skip
