"""The season as it happens: what was seen of a pairing, and when."""

from typing import Annotated

from msgspec import Meta

from scalewitness.domain.facts.shapes import Body, Corrected, Day, Id
from scalewitness.domain.season.events import Event

HowMany = Annotated[int, Meta(ge=0, le=200)]
"""Of a clutch or litter: more than any source has."""
Celsius = Annotated[str, Meta(pattern=r"^[1-4][0-9](\.[0-9])?$", max_length=4)]


class SeasonNoted(Body, frozen=True):
    """About a pairing: what its sender saw of it ``on`` a day of their own. What was counted is
    left out where nobody counted: ``good`` eggs and ``slugs`` of those laid, ``young`` and
    ``dead_in_shell`` of those hatched, ``live``, ``stillborn`` and ``slugs`` of those born."""

    what: Event
    on: Day
    good: HowMany | None = None
    slugs: HowMany | None = None
    young: HowMany | None = None
    dead_in_shell: HowMany | None = None
    live: HowMany | None = None
    stillborn: HowMany | None = None
    celsius: Celsius | None = None
    corrected: Corrected | None = None


class SeasonNoteWithdrawn(Body, frozen=True):
    """About a pairing: what that note says was not so, or not on that day."""

    noted: Id
    corrected: Corrected | None = None


BODIES: dict[str, type[Body]] = {
    "season_noted": SeasonNoted,
    "season_note_withdrawn": SeasonNoteWithdrawn,
}
