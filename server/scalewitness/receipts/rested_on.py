"""What standings rest on that is about something else than their animal: the policy in force,
examiners' records, findings, checks filed anew. With these and the entries about the animal its
reader computes its standing again (`domain/sexing/recomputing`).

Numbers that the record learned are among them where everybody is shown all of them. Calls on other
records of the same snake are not: their readers have them with those records. Nor is anything that
would tell who made those calls, for whoever does not see them.
"""

from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Mapping, Set
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

import msgspec

from scalewitness.animals.queries.joining import joined
from scalewitness.calls.models import Call
from scalewitness.calls.queries.visibility import reader_of, sights_of, still_blind
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.facts import NumbersAdopted
from scalewitness.examiners.figures import tells_of
from scalewitness.ledger.queries.entries import EntryLine, leaf_of, lines_at, lines_of_kinds
from scalewitness.people.models import Deceit
from scalewitness.receipts.queries import readable
from scalewitness.receipts.whole import WholeRecord
from scalewitness.standings.models import AdoptedNumbers, AdoptedPolicy, ExaminerRecord
from scalewitness.standings.queries.learned import shown

POLICY = "policy_adopted"
OPEN = frozenset({POLICY, "deceit_found"})
OF_DISPUTES = ("dispute_opened", "finding_recorded", "finding_answered")


class RestedOn(NamedTuple):
    """``entries``: those that the reader may read, in log order; ``unread``: animals whose standing
    rests on others besides."""

    entries: list[EntryLine]
    unread: set[UUID]


def rested_on(keeper: UUID | None, records: Iterable[WholeRecord], now: datetime) -> RestedOn:
    """Of the standing in force of each animal that the keeper sees whole; of None, a buyer by their
    link, what everybody may read alone. Within `opening.stated_tree`.

    Raises:
        LogContradicted: what is stored cannot be right.
    """
    stated = {one.subject: last for one in records if (last := _last_stated(one)) is not None}
    if not stated:
        return RestedOn([], set())
    needed = {animal: set[int]() for animal in stated}
    for animal, position in _needed(stated, keeper, now):
        if position < stated[animal].position:
            needed[animal].add(position)
    lines = lines_at(set[int]().union(*needed.values()))
    seen = _open_to(keeper, lines, set(stated), now)
    unread = {animal for animal, positions in needed.items() if positions - seen}
    return RestedOn([one for one in lines if one.position in seen], unread)


class _StandingLine(NamedTuple):
    """Where a standing was stated last, and by which numbers it or the one before is."""

    position: int
    numbers: set[str]


def _last_stated(record: WholeRecord) -> _StandingLine | None:
    stated = [one for one in record.shown if one.kind == "standing_changed"]
    if not stated:
        return None
    bodies = [_body(one) for one in stated[-2:]]
    named = {body.get(name) for body in bodies for name in ("parameters", "verified_with")}
    return _StandingLine(stated[-1].position, {str(one) for one in named if one})


def _body(line: EntryLine) -> dict[str, Any]:
    try:
        return leaf_of(line).body
    except ValueError:
        raise LogContradicted() from None


def _needed(
    stated: Mapping[UUID, _StandingLine], keeper: UUID | None, now: datetime
) -> Iterator[tuple[UUID, int]]:
    """Positions of entries, by the animal whose standing at that position rests on them if they
    come before it."""
    snakes = _snakes(stated)
    yield from _with_calls(_seen_whole(snakes, stated, keeper, now), stated)
    for of, position in _findings(snakes):
        yield from ((animal, position) for animal in snakes[of])
    policies = list(AdoptedPolicy.objects.values_list("position", flat=True))
    learned = dict(AdoptedNumbers.objects.values_list("version", "position"))
    for animal, last in stated.items():
        yield from ((animal, position) for position in policies)
        yield from ((animal, learned[one]) for one in last.numbers if one in learned)


def _with_calls(
    snakes: Mapping[UUID, Set[UUID]], stated: Mapping[UUID, _StandingLine]
) -> Iterator[tuple[UUID, int]]:
    calls = list(_calls(snakes))
    deceits = dict(_deceits({one.by for one in calls}))
    records = _records({one.examiner for one in calls})
    for one in calls:
        for animal in snakes[one.animal]:
            yield from ((animal, at) for at in (one.refiles, one.refiled) if at is not None)
            if one.by in deceits:
                yield animal, deceits[one.by]
            before, until = records.get(one.examiner, []), stated[animal].position
            if (found := bisect_left(before, until)) and one.position < until:
                yield animal, before[found - 1]


def _snakes(animals: Collection[UUID]) -> dict[UUID, set[UUID]]:
    """By each record of the same snake, the animals asked about that it is of."""
    found: dict[UUID, set[UUID]] = {animal: {animal} for animal in animals}
    for animal, others in joined(animals).items():
        for other in others:
            found.setdefault(other, set()).add(animal)
    return found


def _seen_whole(
    snakes: Mapping[UUID, Set[UUID]], stated: Collection[UUID], keeper: UUID | None, now: datetime
) -> dict[UUID, Set[UUID]]:
    """Those records whose calls the keeper may read: an examiner's record beside a standing would
    tell of the others who checked the snake."""
    others = snakes.keys() - set(stated)
    sights = {} if keeper is None else sights_of(keeper, others, now)
    return {
        one: animals for one, animals in snakes.items() if one in stated or sights.get(one) == "all"
    }


class _CallLine(NamedTuple):
    """A call; at which position that was made which it ``refiles``, and it was ``refiled``."""

    animal: UUID
    by: UUID
    examiner: UUID
    position: int
    refiles: int | None
    refiled: int | None


def _calls(animals: Collection[UUID]) -> Iterator[_CallLine]:
    rows = Call.objects.filter(animal__in=list(animals)).values_list(
        "animal", "by", "examiner", "position", "refiles__position", "refiled__position"
    )
    return (_CallLine(*row) for row in rows)


def _deceits(keepers: Collection[UUID]) -> Iterable[tuple[UUID, int]]:
    return Deceit.objects.filter(keeper__in=keepers).values_list("keeper", "position")


def _records(examiners: Collection[UUID]) -> dict[UUID, list[int]]:
    """By examiner, the positions of their records, in order."""
    rows = ExaminerRecord.objects.filter(examiner__in=examiners).order_by("position")
    found: dict[UUID, list[int]] = {}
    for examiner, position in rows.values_list("examiner", "position"):
        found.setdefault(examiner, []).append(position)
    return found


def _findings(animals: Collection[UUID]) -> Iterator[tuple[UUID, int]]:
    of = dict(Dispute.objects.filter(animal__in=list(animals)).values_list("pk", "animal"))
    for one in lines_of_kinds(of, OF_DISPUTES):
        if one.about is not None:
            yield of[one.about], one.position


def _open_to(
    keeper: UUID | None, lines: Iterable[EntryLine], whole: Collection[UUID], now: datetime
) -> set[int]:
    """Whoever reads a standing may read what is shown beside it: the policy, that a finding names
    whoever sent a call, learned numbers that everybody is shown, and an examiner's record, where
    that is not kept from those who are to check blind. Disputes of animals that are seen ``whole``
    are; everything else as its own rule has it."""
    if keeper is None:
        return {one.position for one in lines if one.kind == POLICY or _is_for_everybody(one)}
    blind = still_blind(reader_of(keeper, now))
    disputes = set(Dispute.objects.filter(animal__in=whole).values_list("pk", flat=True))
    seen, others = set[int](), list[EntryLine]()
    for one in lines:
        if one.kind == "examiner_record_changed" and one.about is not None:
            if not tells_of(blind, keeper, one.about):
                seen.add(one.position)
        elif one.kind in OPEN or one.about in disputes or _is_for_everybody(one):
            seen.add(one.position)
        else:
            others.append(one)
    return seen | readable(keeper, others, now)


def _is_for_everybody(line: EntryLine) -> bool:
    """Whether it adopts numbers that the page of learned ones shows, all of them."""
    if line.kind != "numbers_adopted":
        return False
    numbers = msgspec.convert(_body(line), NumbersAdopted).numbers
    return len(shown(numbers)) == len(numbers)
