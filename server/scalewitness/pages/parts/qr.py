"""An address as a QR code to point a phone at."""

from io import BytesIO

import segno
from django.utils.safestring import SafeString, mark_safe

QUIET = 4
"""Light modules around the code (ISO/IEC 18004 asks for four)."""


def qr(
    address: str, *, alone: bool = False, title: str = "QR code of the address beside it"
) -> SafeString:
    """An inline SVG, or one to stand ``alone`` as a picture of its own: dark on light whatever
    the page's colours, and without any style attribute, as the content security policy
    forbids those."""
    out = BytesIO()
    segno.make(address, error="m", micro=False).save(
        out,
        kind="svg",
        xmldecl=False,
        svgns=alone,
        omitsize=True,
        nl=False,
        border=QUIET,
        dark="#000",
        light="#fff",
        svgclass="qr",
        lineclass=None,
        title=title,
    )
    drawn = out.getvalue().decode().replace("<svg ", '<svg role="img" ', 1)
    return mark_safe(drawn)  # noqa: S308  the library's own drawing
