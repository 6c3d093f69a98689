"""What an XLSX sheet shows of a number or a day, by the format of its cell (ECMA-376, part 1,
18.8.30 and 18.8.31). Marks and names of months are the English ones: what is told from them is how
many figures there are, and of what.
"""

import re
from calendar import day_abbr, day_name, month_abbr, month_name
from collections.abc import Mapping
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

BUILT_IN: Final[Mapping[int, str]] = {
    1: "0", 2: "0.00", 3: "#,##0", 4: "#,##0.00", 9: "0%", 10: "0.00%", 11: "0.00E+00",
    15: "d-mmm-yy", 16: "d-mmm", 17: "mmm-yy", 37: "#,##0", 38: "#,##0", 39: "#,##0.00",
    40: "#,##0.00", 48: "##0.0E+0",
}  # fmt: skip
"""Formats that a file names by number alone. 14 and 22 show days in the order of whoever looks, so
that nobody else can tell it; the others are of times, or as typed."""

_TOKEN = re.compile(
    r'"(?P<quoted>[^"]*)"|\\(?P<escaped>.)|\[[^\]]*\]|_.|\*.|(?P<power>E[+-]0+)'
    r"|(?P<figures>[0#?][0#?.,]*)|(?P<percent>%)|(?P<plain>General)"
    r"|(?P<part>d+|m+|y+|h+|s+)|(?P<other>.)",
    re.IGNORECASE,
)


def number_shown(text: str, format: str) -> str:
    """A number as it is shown; empty where the format shows it as it is, or cannot be told."""
    number, found = Decimal(text), []
    tokens = [one for one in _TOKEN.finditer(_positive(format)) if one.lastgroup]
    if sum(bool(one["figures"]) for one in tokens) > 1:
        return ""  # a fraction, or figures in groups
    if any(one["percent"] for one in tokens):
        number *= 100
    power = next((one["power"] for one in tokens if one["power"]), "")
    for one in tokens:
        if one["figures"]:
            found.append(_powered(number, one[0]) if power else _in_figures(number, one[0]))
        elif one["plain"]:
            found.append(text)
        elif not one["power"]:
            found.append(_literal(one))
    shown = "".join(found).strip()
    return "" if shown == text else shown


def day_shown(day: date, format: str) -> str:
    """A day as it is shown; empty where the format shows none of its parts."""
    tokens = [one for one in _TOKEN.finditer(_positive(format)) if one.lastgroup]
    parts = {one["part"].lower() for one in tokens if one["part"]}
    if not any(one.startswith(("d", "y", "mmm")) for one in parts):
        return ""
    return "".join(_part(one, day) if one["part"] else _literal(one) for one in tokens).strip()


def _positive(format: str) -> str:
    """The first of its sections."""
    return re.split(r';(?=(?:[^"]*"[^"]*")*[^"]*$)', format)[0]


def _literal(token: re.Match[str]) -> str:
    return token["quoted"] or token["escaped"] or token["percent"] or token["other"] or ""


def _in_figures(number: Decimal, figures: str) -> str:
    whole, _, decimals = figures.partition(".")
    number = number.scaleb(-3 * (len(figures) - len(figures.rstrip(","))))
    places = len(decimals.rstrip(","))
    rounded = abs(number.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP))
    before, _, after = f"{rounded:f}".partition(".")
    before = before.zfill(whole.count("0"))
    if "," in whole.rstrip(","):
        before = re.sub(r"(?<=\d)(?=(?:\d{3})+$)", ",", before)
    least = decimals.count("0")
    after = after[:least] + after[least:].rstrip("0")
    return f"{'-' * (number < 0)}{before}{'.' * bool(after)}{after}"


def _powered(number: Decimal, figures: str) -> str:
    return f"{number:.{len(figures.partition('.')[2])}E}"


def _part(token: re.Match[str], day: date) -> str:
    part = token["part"].lower()
    letter, size = part[0], len(part)
    if letter == "y":
        return f"{day.year % 100:02}" if size < 3 else f"{day.year:04}"
    if letter not in "dm":
        return ""
    number = day.day if letter == "d" else day.month
    if size < 3:
        return f"{number:0{size}}"
    if letter == "d":
        return (day_name if size > 3 else day_abbr)[day.weekday()]
    return (month_name if size > 3 else month_abbr)[number]
