"""The calendar file, read by a parser that takes nothing but what RFC 5545 allows."""

import re
from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from scalewitness.domain.season.icalendar import Entry, calendar_file

CHANGED = datetime(2027, 3, 1, 23, 30, tzinfo=timezone(timedelta(hours=-5)))
LINE = re.compile(r"([A-Z-]+)((?:;[A-Z-]+=[^;:,\x00-\x1f\"]+)*):([^\x00-\x1f\x7f]*)")
"""contentline (3.1), for the parameters that are used: none is quoted."""
TEXT = re.compile(r"(?:[^\\;,]|\\[\\;,nN])*")
"""TEXT (3.3.11)."""


def read(file: bytes) -> tuple[dict[str, str], list[dict[str, str]]]:
    """The calendar's own properties, and those of each event; AssertionError if any line is not
    as the standard has it."""
    assert file.endswith(b"\r\n")
    raw = file.split(b"\r\n")[:-1]
    assert all(len(one) <= 75 and b"\n" not in one and b"\r" not in one for one in raw)
    for one in raw:
        one.decode()  # none is folded within a character
    lines = [one.decode() for one in file.replace(b"\r\n ", b"").split(b"\r\n")[:-1]]
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    own: dict[str, str] = {}
    events: list[dict[str, str]] = []
    place = own
    for line in lines[1:-1]:
        found = LINE.fullmatch(line)
        assert found, line
        name, parameters, value = found.groups()
        if name == "BEGIN":
            assert (value, place is own) == ("VEVENT", True)
            place = {}
        elif name == "END":
            assert value == "VEVENT"
            assert {"UID", "DTSTAMP", "DTSTART;VALUE=DATE"} <= place.keys()
            events.append(place)
            place = own
        else:
            assert name + parameters not in place, f"{name} twice"
            if name in {"SUMMARY", "UID", "PRODID"}:
                assert TEXT.fullmatch(value), value
                value = re.sub(r"\\(.)", r"\1", value)
            place[name + parameters] = value
    assert {"PRODID", "VERSION"} <= own.keys()
    assert own["VERSION"] == "2.0"
    return own, events


def entry(title: str = "F1: due", uid: str = "a@record.example") -> Entry:
    return Entry(uid, title, date(2028, 2, 27), date(2028, 2, 29), CHANGED)


def test_whole_days_with_the_day_after_the_last_as_their_end() -> None:
    own, (event,) = read(calendar_file("Season", "-//Record//Season//EN", [entry()]))
    assert own["PRODID"] == "-//Record//Season//EN"
    assert event["DTSTART;VALUE=DATE"] == "20280227"
    assert event["DTEND;VALUE=DATE"] == "20280301", "over the leap day"
    assert event["DTSTAMP"] == "20270302T043000Z", "in UTC"


@pytest.mark.parametrize(
    "title",
    [
        "OS-11; the long one, tub 3 \\ left",
        "ü" * 80,
        "🐍" * 40,
        "x" * 66 + "€uro",
        "",
    ],
)
def test_any_code_comes_out_as_it_went_in(title: str) -> None:
    _, (event,) = read(calendar_file("Season", "-//Record", [entry(title)]))
    assert event["SUMMARY"] == title


def test_a_code_cannot_add_lines_of_its_own() -> None:
    file = calendar_file("Season", "-//Record", [entry("F1\r\nATTENDEE:mailto:x@y.example")])
    _, (event,) = read(file)
    assert event["SUMMARY"] == "F1  ATTENDEE:mailto:x@y.example"
    assert b"\r\nATTENDEE" not in file


def test_the_same_is_the_same_to_the_byte_and_an_empty_one_is_a_calendar() -> None:
    entries = [entry(uid="a"), entry(uid="b")]
    once, again = (calendar_file("Season", "-//Record", entries) for _ in range(2))
    assert once == again
    assert [one["UID"] for one in read(once)[1]] == ["a", "b"]
    assert read(calendar_file("Season", "-//Record", []))[1] == []
    assert CHANGED.astimezone(UTC).date() == date(2027, 3, 2)
