"""What standings rest on besides the entries about their own animal, read from the log in one go.

Little of it grows with the log: rules and numbers that were adopted, who deceived, and which
animals cannot be judged alone, since they are one snake, bore one number or share a call.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.identifiers import names_one_animal, plain_code
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entries_by_position, entry_of, leaf_of
from scalewitness.standings.queries.replay_animals import StandingDifference, cannot_go_on
from scalewitness.standings.queries.rules_as_of import RECORD, Rests, Rule
from scalewitness.standings.queries.shared_codes import SharedCodes

RULES = frozenset({"policy_adopted", "numbers_adopted", "deceit_found"})
DISPUTES = frozenset({"dispute_opened", "finding_recorded", "finding_answered"})
TOGETHER = frozenset(
    {
        "joining_proposed",
        "parting_proposed",
        "joining_answered",
        "call_refiled",
        "identifier_assigned",
    }
)


@dataclass(slots=True)
class Surroundings:
    """``together``: by animal, all that must be judged with it, in order; ``disputes``: by animal,
    those about it; ``faults``: what of this cannot be read."""

    rests: Rests
    together: dict[UUID, tuple[UUID, ...]] = field(default_factory=dict)
    disputes: dict[UUID, list[UUID]] = field(default_factory=dict)
    faults: list[StandingDifference] = field(default_factory=list)


def surroundings(size: int) -> Surroundings:
    """Of the standings in a log of ``size`` entries."""
    rules: list[Rule] = []
    found = Surroundings(Rests(rules, _runs(size)))
    disputed: dict[UUID, UUID] = {}
    with SharedCodes() as codes:
        links = _Links(codes)
        for entry in entries_by_position(RULES | DISPUTES | TOGETHER):
            about = entry.about
            if about is None or entry.position >= size:
                continue
            try:
                body = msgspec.convert(leaf_of(entry).body, facts.BODIES[entry.kind])
                if entry.kind in RULES:
                    rules.append(Rule(entry.position, about, body))
                elif entry.kind in DISPUTES:
                    _take_dispute(found, disputed, about, body)
                else:
                    links.take(about, entry, body)
            except (ValueError, LookupError, msgspec.MsgspecError) as fault:
                found.faults.append(cannot_go_on(entry.position, about, fault))
        found.together = links.together()
    return found


def _take_dispute(found: Surroundings, disputed: dict[UUID, UUID], about: UUID, body: Any) -> None:
    if isinstance(body, facts.DisputeOpened):
        disputed[about] = UUID(body.animal)
        found.disputes.setdefault(disputed[about], []).append(about)
    elif about not in disputed:
        raise LookupError(f"no dispute {about} was opened")


def _runs(size: int) -> list[tuple[int, int]]:
    """Positions of examiners' records, those that follow one another as one."""
    rows = Entry.objects.filter(kind=RECORD, position__lt=size)
    runs: list[tuple[int, int]] = []
    for position in rows.order_by("position").values_list("position", flat=True).iterator():
        first = runs.pop()[0] if runs and runs[-1][1] == position - 1 else position
        runs.append((first, position))
    return runs


class _Links:
    """Which animals go together: a forest, each tree below its least."""

    def __init__(self, codes: SharedCodes) -> None:
        self._codes = codes
        self._above: dict[UUID, UUID] = {}
        self._proposed: dict[str, UUID] = {}

    def take(self, about: UUID, entry: Entry, body: Any) -> None:
        match body:
            case facts.IdentifierAssigned():
                code = plain_code(body.scheme, body.code)
                if names_one_animal(body.scheme, code):
                    self._codes.add(code, about)
            case facts.JoiningProposed() | facts.PartingProposed():
                self._proposed[str(entry.fact)] = about
            case facts.JoiningAnswered() if body.agrees:
                self._join(self._proposed[body.proposal], about)
            case facts.CallRefiled():
                call = entry_of(UUID(body.call))
                if call is not None and call.about is not None:
                    self._join(call.about, about)

    def together(self) -> dict[UUID, tuple[UUID, ...]]:
        for first, *others in self._codes.shared():
            for other in others:
                self._join(first, other)
        groups: dict[UUID, list[UUID]] = {}
        for one in sorted(self._above):
            groups.setdefault(self._least(one), []).append(one)
        return {one: tuple(members) for members in groups.values() for one in members}

    def _join(self, one: UUID, other: UUID) -> None:
        least, more = sorted((self._least(one), self._least(other)))
        self._above[more] = least

    def _least(self, one: UUID) -> UUID:
        above = self._above.setdefault(one, one)
        while above != one:
            one, above = above, self._above[above]
        return one


class AnimalSpan(msgspec.Struct, frozen=True):
    """The animals from ``first`` on and before ``end`` (None: from the least, to the greatest).
    ``groups``: animals to be judged together, of which the least is among them; ``apart``: those of
    them that belong to any group; ``disputes``: about these animals and those of the groups."""

    first: UUID | None
    end: UUID | None
    groups: tuple[tuple[UUID, ...], ...] = ()
    apart: frozenset[UUID] = frozenset()
    disputes: Mapping[UUID, Sequence[UUID]] = {}

    def has(self, animal: UUID) -> bool:
        after = self.first is None or self.first <= animal
        return after and (self.end is None or animal < self.end)


def spans(bounds: Sequence[UUID], around: Surroundings) -> Iterator[AnimalSpan]:
    """The animals between one bound and the next, with what goes with them."""
    for first, end in zip([None, *bounds], [*bounds, None], strict=True):
        bare = AnimalSpan(first, end)
        apart = [one for one in around.together if bare.has(one)]
        groups = sorted(around.together[one] for one in apart if around.together[one][0] == one)
        about = {one for group in groups for one in group}
        disputes = {
            one: ids for one, ids in around.disputes.items() if one in about or bare.has(one)
        }
        yield AnimalSpan(first, end, tuple(groups), frozenset(apart), disputes)
