"""The drawings of the pages as a paper takes them."""

import re
from html import unescape
from typing import Final

from scalewitness.pages.plots.sign import Drawn, sign
from scalewitness.pages.plots.timeline import Strip
from scalewitness.standings.queries.dossier import Dossier

WIDE: Final = "640"
"""Units across a sheet, in which 13, the size of letters in a strip, comes to some 10 pt."""
OWN: Final = 'xmlns="http://www.w3.org/2000/svg" color="#1c2320" font-family="Libertinus Serif"'
"""No stylesheet reaches it there. The ink is that of `frame.typ`, and so is the font."""
DESCRIPTION: Final = re.compile(r'<desc>(.*?)</desc>|aria-label="(.*?)"', re.DOTALL)


def on_paper(markup: str) -> dict[str, str] | None:
    """The SVG in a drawing, and ``alt``, what it says to whoever does not see it; None where
    nothing is drawn."""
    start, end = markup.find("<svg"), markup.rfind("</svg>")
    if start < 0:
        return None
    described = DESCRIPTION.search(markup)
    alt = " ".join(unescape((described[1] or described[2]) if described else "A drawing").split())
    plain = markup[start:end].replace(' xmlns="http://www.w3.org/2000/svg"', "", 1)
    return {"svg": plain.replace("<svg", f"<svg {OWN}", 1) + "</svg>", "alt": alt}


def sign_on_paper(case: Dossier) -> dict[str, str] | None:
    found = case.assessment
    drawn = Drawn(found.label, found.p_male, found.p_male_pessimistic, bool(case.evidence))
    return on_paper(sign(drawn, case.by.policy.verified, "large"))


def strip_on_paper(strip: Strip) -> dict[str, str] | None:
    return on_paper(strip.drawing(WIDE))
