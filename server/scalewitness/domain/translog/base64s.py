"""Base64 with one spelling per value (RFC 4648, section 4)."""

from binascii import a2b_base64, b2a_base64


def encode64(data: bytes) -> str:
    return b2a_base64(data, newline=False).decode()


def decode64(text: str) -> bytes:
    """The bytes. Raises ValueError for anything :func:`encode64` would not have written:
    other characters, missing padding, spare bits that are not zero."""
    try:
        data = a2b_base64(text, strict_mode=True)
    except ValueError:
        raise ValueError("not base64") from None
    if encode64(data) != text:
        raise ValueError("base64 that decodes, but is not the one spelling of its bytes")
    return data
