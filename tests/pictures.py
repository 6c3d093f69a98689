"""Pictures for tests, and what a camera writes into them."""

from hashlib import sha256
from io import BytesIO
from typing import Any

from PIL import Image

from scalewitness.domain.pictures.reencoding import reencoded

GPS, MAKE, NORTH, ORIENTATION = 0x8825, 0x010F, {1: "N", 2: (52.0, 5.0, 3.0)}, 0x0112
"""Exif 2.3 tags: the place as a directory of its own, the camera's maker, which way is up."""


def drawn(width: int = 60, height: int = 40, **options: Any) -> Image.Image:
    """A picture of which no two rows are alike."""
    image = Image.new("RGB", (width, height))
    image.putdata([(x * 4 % 256, y * 6 % 256, 90) for y in range(height) for x in range(width)])
    return image


def camera_file(kind: str = "JPEG", **more: Any) -> bytes:
    """As a phone saves it: with place, maker and turned on its side."""
    exif = Image.Exif()
    exif[MAKE], exif[ORIENTATION], exif[GPS] = "Cam & Co", 6, NORTH
    written = BytesIO()
    drawn().save(written, kind, exif=exif, **more)
    return written.getvalue()


def plain_file(width: int = 60, height: int = 40) -> bytes:
    written = BytesIO()
    drawn(width, height).save(written, "PNG")
    return reencoded(written.getvalue())


def body_of(data: bytes, of: object = None) -> dict[str, Any]:
    """What the fact says of a file."""
    file = {"sha256": sha256(data).hexdigest(), "size": len(data)}
    return file | ({"of": str(of)} if of else {})
