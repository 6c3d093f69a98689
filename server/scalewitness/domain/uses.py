"""What the use of an animal tells of its sex, to whom and when.

A sire is taken for a male and a dam for a female, so whoever reads of such a use knows what the
animal is taken for:

- **parent** of an animal on record: told, from the naming on, to whoever keeps the young one or is
  a partner where it is, be it later. What was named stays in its history.
- **pairing**: told to whoever planned it, and to whoever keeps the mate or is a partner where it
  is, while the plan stands.
- **note of a season** (put together, laid and so on): taken only from whom the pairing is told to,
  and shown to nobody else. So it tells a sex to nobody to whom the pairing did not.
- **linkage** of a trait, stated of young of both parents: as of a parent.

As long as somebody's blind check of the animal is awaited, from the acceptance of the visit on,
they are shown no parent and no pairing (`calls.queries.visibility`), so nothing is told to them
then. A stated linkage still shows that there are two parents; it counts as told.

Whatever else tells a sex (calls, eggs, slugs and young that were seen, dissections, parentage
tests, traits, names, photos, notes of health) is shown to those alone who see the animal whole. An
offer or a sale makes an interested party. Neither is blind: see `intake.known.Tie`.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal, TypeAlias
from uuid import UUID

Moment: TypeAlias = tuple[datetime, int]
"""A time, and the log position at it: what came in together is in the order of the log."""

EVER: Moment = (datetime.min.replace(tzinfo=UTC), -1)
NEVER: Moment = (datetime.max.replace(tzinfo=UTC), 2**63 - 1)


@dataclass(frozen=True, slots=True)
class Span:
    """From ``since`` on and before ``until``."""

    since: Moment = EVER
    until: Moment = NEVER

    def within(self, other: "Span") -> "Span":
        return Span(max(self.since, other.since), min(self.until, other.until))


@dataclass(frozen=True, slots=True)
class Use:
    """``animal`` as a parent of, or to be paired with, ``other``, by the word of ``by``."""

    animal: UUID
    other: UUID
    by: UUID | None
    stated: Span
    of: Literal["parent", "pairing", "linkage"]


def is_informed(person: UUID, use: Use, holds: Iterable[Span], blind: Iterable[Span]) -> bool:
    """Whether the use told ``person`` the animal's sex. ``holds``: when they kept the other animal,
    or were a partner where it was; ``blind``: when their check of this one was awaited."""
    if use.by == person:
        return True
    shut = [] if use.of == "linkage" else list(blind)
    return any(_is_seen(held.within(use.stated), shut) for held in holds)


def _is_seen(span: Span, shut: Iterable[Span]) -> bool:
    """Whether anything of the span is left when what was shut is taken away."""
    since = span.since
    for one in sorted(shut, key=lambda one: one.since):
        if one.since > since:
            break
        since = max(since, one.until)
    return since < span.until
