"""Base64 with one spelling per value (RFC 4648, section 4)."""

from base64 import b64decode, b64encode
from binascii import Error


def encode64(data: bytes) -> str:
    return b64encode(data).decode()


def decode64(text: str) -> bytes:
    """The bytes. Raises ValueError for anything :func:`encode64` would not have written:
    other characters, missing padding, spare bits that are not zero."""
    try:
        data = b64decode(text, validate=True)
    except (Error, ValueError):
        raise ValueError("not base64") from None
    if encode64(data) != text:
        raise ValueError("base64 that decodes, but is not the one spelling of its bytes")
    return data
