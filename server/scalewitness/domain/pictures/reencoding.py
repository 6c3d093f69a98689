"""Any picture as a plain JPEG file: turned upright, made smaller, without what a camera added.

Re-encoding one takes at most some 150 MB, whatever the file
(`tests/domain/pictures/test_memory.py`): how many pixels each format may have follows from what
its decoder holds at a time.
"""

from io import BytesIO
from math import prod
from typing import Final

from PIL import Image

from scalewitness.domain.pictures.needed import Needed, needed
from scalewitness.domain.pictures.plain import (
    DAMAGED,
    LARGEST_BYTES,
    LONGEST_SIDE,
    NotPlain,
    size_of,
)

LARGEST_UPLOAD: Final = 25_000_000
"""Bytes of a file to re-encode; more than cameras of our time write into a JPEG (our judgement)."""
MOST_DECODED: Final = 12_000_000
"""Pixels that are looked at one by one (our judgement)."""
MOST_PIXELS: Final = {"JPEG": 60_000_000, "PNG": MOST_DECODED, "WEBP": 6_000_000}
"""Of a file, by its format. A JPEG is made smaller while it is decoded; the largest phone cameras
of our time give 50 million. Of a PNG all pixels are held once (4 bytes each), of a WebP four times
(measured)."""
LONGEST_READ: Final = 65_535
"""Pixels a side, as in a JPEG; making one line of millions shorter takes hundreds of megabytes."""
LARGEST_WEBP: Final = 4_000_000
"""Bytes; its decoder keeps a copy of the file (our judgement)."""
MOST_HELD: Final = 96_000_000
"""Bytes for the coefficients and the pixels of a JPEG in several scans. One of eight million
pixels fits, in whatever colours (our judgement)."""
QUALITY: Final = 85
"""Of 95; scales stay countable (our judgement)."""
_NAMES: Final = {"JPEG": "JPEG", "PNG": "PNG", "WEBP": "WebP"}
_TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""By Exif's orientation, to bring it upright."""


def reencoded(data: bytes) -> bytes:
    """The picture re-encoded, at most :data:`LONGEST_SIDE` pixels long.

    Raises:
        NotPlain: it is no picture of a kind that can be read, or too large.
    """
    _require_bytes(len(data), LARGEST_UPLOAD, "a picture")
    file = needed(data)
    del data  # the larger of the two, where nobody else holds it
    _require_size(file)
    try:
        small = _small(file)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        raise NotPlain(DAMAGED) from None
    if file.orientation in _TURNS:
        small = small.transpose(_TURNS[file.orientation])
    # A picture of its own, so that nothing of the file it came from is written along.
    bare = Image.new("RGB", small.size)
    bare.paste(small.convert("RGB"))
    written = BytesIO()
    bare.save(written, "JPEG", quality=QUALITY, optimize=True)
    return written.getvalue()


def _require_size(file: Needed) -> None:
    most = MOST_PIXELS[file.format]
    if max(file.width, file.height) > LONGEST_READ:
        raise NotPlain(
            f"a picture may be at most {LONGEST_READ:,} pixels long: save a smaller copy"
        )
    if not 0 < file.width * file.height <= most:
        raise NotPlain(
            f"a {_NAMES[file.format]} picture may have at most {most // 1_000_000} million pixels, "
            f"this one has {file.width} × {file.height}: save a smaller copy, or a JPEG of it"
        )
    if file.format == "WEBP":
        _require_bytes(len(file.data), LARGEST_WEBP, "a WebP picture")
    if file.held and file.held + 4 * prod(_decoded(file)) > MOST_HELD:
        raise NotPlain(
            "this JPEG is stored in layers (“progressive”) and has more than 8 million pixels: "
            "save a smaller copy, or one that is not progressive"
        )


def _require_bytes(size: int, most: int, what: str) -> None:
    if size > most:
        raise NotPlain(
            f"{what} may have at most {most // 1_000_000} MB, this file has "
            f"{size / 1_000_000:.1f} MB: save a smaller copy, or a JPEG of it"
        )


def _decoded(file: Needed) -> tuple[int, int]:
    """The size a JPEG is decoded at: the whole, a half, a quarter or an eighth. Not below the size
    that is wanted, unless it would still have too many pixels."""
    sizes = [(max(1, file.width // by), max(1, file.height // by)) for by in (1, 2, 4, 8)]
    wanted = [size for size in sizes if max(size) >= LONGEST_SIDE] or sizes[:1]
    return next(
        (size for size in sizes[len(wanted) - 1 :] if prod(size) <= MOST_DECODED), sizes[-1]
    )


def _small(file: Needed) -> Image.Image:
    """In any colours but a palette's. What it was made from is let go of on return."""
    with Image.open(BytesIO(file.data), formats=(file.format,)) as found:
        if found.size != (file.width, file.height):
            raise NotPlain(DAMAGED)
        if file.format == "JPEG":
            found.draft(None, _decoded(file))
        found.load()
        return _shrunk(found)


def _shrunk(image: Image.Image) -> Image.Image:
    """Without transparency, and without a second copy of all its pixels."""
    if image.mode in {"RGBA", "LA"}:
        colours = [_shrunk(image.getchannel(one)) for one in image.getbands()[:-1]]
        return Image.merge("RGB", colours) if len(colours) == 3 else colours[0]
    if image.mode.startswith("I"):  # 16 bits of grey, of which the upper half is shown
        image = image.point(lambda grey: grey * (1 / 256)).convert("L")
    elif image.mode in {"P", "1"}:
        image = image.convert("RGB")
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE), reducing_gap=None)
    return image


def check_decodable(data: bytes) -> None:
    """Refuse a plain JPEG file that is too large or cannot be decoded to its end.

    Raises:
        NotPlain: with the reason.
    """
    width, height = size_of(data)
    if max(width, height) > LONGEST_SIDE or len(data) > LARGEST_BYTES:
        raise NotPlain(
            f"a picture has at most {LONGEST_SIDE} pixels a side and {LARGEST_BYTES:,} bytes"
        )
    try:
        with Image.open(BytesIO(data), formats=("JPEG",)) as found:
            found.load()
    except (OSError, SyntaxError, ValueError):
        raise NotPlain(DAMAGED) from None
