"""Any picture as a plain JPEG file: turned upright, made smaller, without what a camera added."""

from io import BytesIO
from typing import Final

from PIL import Image, ImageOps

from scalewitness.domain.pictures.plain import LARGEST_BYTES, LONGEST_SIDE, NotPlain, size_of

FORMATS: Final = ("JPEG", "PNG", "WEBP")
MOST_PIXELS: Final = 60_000_000
"""Of what is read; the largest phone cameras of our time give 50 million (our judgement)."""
QUALITY: Final = 85
"""Of 95; scales stay countable (our judgement)."""


def redrawn(data: bytes) -> bytes:
    """The picture drawn anew, at most :data:`LONGEST_SIDE` pixels long.

    Raises:
        NotPlain: it is no picture of a kind that can be read, or too large.
    """
    try:
        with Image.open(BytesIO(data), formats=FORMATS) as found:
            if found.width * found.height > MOST_PIXELS:
                raise NotPlain("the picture has too many pixels")
            upright = ImageOps.exif_transpose(found).convert("RGB")
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as fault:
        if isinstance(fault, NotPlain):
            raise
        raise NotPlain("the file is not a picture that can be read") from None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    # A picture of its own, so that nothing of the file it came from is written along.
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    written = BytesIO()
    bare.save(written, "JPEG", quality=QUALITY, optimize=True)
    return written.getvalue()


def check_drawable(data: bytes) -> None:
    """Refuse a plain JPEG file that is too large or cannot be drawn to its end.

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
        raise NotPlain("the file is broken off or damaged") from None
