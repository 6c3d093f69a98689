"""The confirmed lines of a list go on record: each with all that it states, or not at all."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from scalewitness.animals import services as animals
from scalewitness.animals.models import Animal
from scalewitness.domain.errors import SignatureRequired
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.tables.drafts import ContentIds, Fact, ListedAnimal, facts_of
from scalewitness.domain.tables.lines import ListLine
from scalewitness.importing.models import Upload
from scalewitness.importing.queries import ids_for, known_by_code, planned, registered
from scalewitness.importing.services.bringing import note
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept
from scalewitness.ledger.services.writing import take_turn
from scalewitness.people.models import Keeper

AT_ONCE: Final = 10
"""Lines of one transaction: some fifty facts, so that nobody else waits for longer than about a
tenth of a second (our judgement)."""
PROGRESS: Final = ("stored", "refused", "elsewhere")
HERE: Final = "On record already, since this list was looked at."
KINDS: Final = ("animal_registered", "identifier_assigned", "husbandry_noted", "call_made")


class Refusal(Exception):
    """The record does not take what a line states."""

    def __init__(self, number: int, why: str) -> None:
        super().__init__(why)
        self.number, self.why = number, why


@dataclass(frozen=True, slots=True)
class Confirmed:
    """What is to be stored of a list. ``sex_from``: whose word its sexes are; ``drafts``: its
    animals by the numbers of their lines."""

    upload: Upload
    actor: Actor
    sex_from: str
    drafts: Mapping[int, ListedAnimal]

    def parents_of(self, animals: Iterable[ListedAnimal]) -> list[ListedAnimal]:
        """Those that stand in the list."""
        named = (one for draft in animals for one in draft.parents.values())
        return list(dict.fromkeys(self.drafts[one.line] for one in named if one.line))

    def facts(
        self, draft: ListedAnimal, ids: Mapping[ListedAnimal, ContentIds], now: datetime
    ) -> list[Fact]:
        parents = {
            role: one.animal or ids[self.drafts[one.line]].animal
            for role, one in draft.parents.items()
        }
        room = str(self.upload.collection_id)
        return facts_of(draft, room, ids[draft], rfc3339(now), self.sex_from, parents)


def waiting(upload: Upload, lines: Sequence[ListLine]) -> list[ListLine]:
    """Those still to be stored, of a plan's lines; parents before their young."""
    done = {*upload.stored, *map(int, upload.refused)}
    left = [one for one in lines if one.state == "new" and one.number not in done]
    return sorted(left, key=lambda one: (one.generation, one.number))


def store(
    upload: Upload, actor: Actor, now: Callable[[], datetime], is_over: Callable[[], bool]
) -> int:
    """Store what is new, some lines after the other, until all are or it ``is_over``; how many
    are left.

    Raises:
        Busy: the log was not free in time. What was stored before stays.
        SignatureRequired: no line is taken, by a rule of the keeper's; none is noted as refused.
    """
    plan = planned(upload, now())
    drafts = {one.number: one.draft for one in plan.lines if one.draft}
    confirmed = Confirmed(upload, actor, plan.reply("sex_from"), drafts)
    left = waiting(upload, plan.lines)
    while left:
        _store_some(confirmed, left[:AT_ONCE], now())
        left = left[AT_ONCE:]
        if is_over():
            break
    return len(left)


def _store_some(confirmed: Confirmed, lines: Sequence[ListLine], now: datetime) -> None:
    """All of them in one transaction; where the record refuses any, each in one of its own."""
    try:
        _store_together(confirmed, lines, now)
    except Refusal as refusal:
        confirmed.upload.refresh_from_db(fields=PROGRESS)
        if len(lines) == 1:
            note(confirmed.upload, [], {refusal.number: refusal.why}, [])
            return
        for one in lines:
            _store_some(confirmed, [one], now)


def _store_together(confirmed: Confirmed, lines: Sequence[ListLine], now: datetime) -> None:
    upload = confirmed.upload
    with transaction.atomic():
        take_turn()  # so that nobody registers the same between the look and the writing
        Upload.objects.select_for_update().only("pk").get(pk=upload.pk)
        upload.refresh_from_db(fields=PROGRESS)
        lines = waiting(upload, lines)
        here = _here(upload, lines, now) | _orphans(lines, upload.refused)
        kept = {one.number: one.draft for one in lines if one.draft and one.number not in here}
        ids = ids_for(upload, [*kept.values(), *confirmed.parents_of(kept.values())])
        made = [(number, confirmed.facts(one, ids, now)) for number, one in kept.items()]
        outcomes = _accepted(made, confirmed.actor, now)
        for one in kept.values():
            _note_record(one, UUID(ids[one].animal), upload.keeper, now)
        shared = [code for code, outcome in outcomes if "known_elsewhere" in outcome.flags]
        note(upload, list(kept), here, shared)


def _orphans(lines: Sequence[ListLine], refused: Mapping[str, str]) -> dict[int, str]:
    """Lines whose parent stands in one that the record did not take."""
    return {
        line.number: f"Its {role} (line {parent.line}) was not stored."
        for line in lines
        if line.draft
        for role, parent in line.draft.parents.items()
        if str(parent.line) in refused
    }


def _here(upload: Upload, lines: Sequence[ListLine], now: datetime) -> dict[int, str]:
    """Lines whose animal is there by now: by what it bears, or by its very id."""
    drafts = {one.number: one.draft for one in lines if one.draft}
    codes = [code for one in drafts.values() for code in (one.tag, one.transponder) if code]
    known = known_by_code(upload.keeper_id, now, codes)
    there = registered(upload, list(drafts.values()))
    return {
        number: HERE
        for number, one in drafts.items()
        if one in there
        or known.get(("tag", one.tag.casefold()))
        or known.get(("transponder", one.transponder))
    }


def _accepted(
    made: Sequence[tuple[int, list[Fact]]], actor: Actor, now: datetime
) -> list[tuple[str, Outcome]]:
    """What the lines of these numbers state: each outcome, with the code that it is about if it is
    about one.

    Raises:
        Refusal: one of them is not taken; then none is.
        SignatureRequired: none of any line is.
    """
    facts = [(number, fact) for number, all_of_it in made for fact in all_of_it]
    facts.sort(key=lambda one: KINDS.index(one[1]["kind"]))  # of many at once: kind by kind
    outcomes = accept([fact for _, fact in facts], actor, now) if facts else []
    for (number, _), outcome in zip(facts, outcomes, strict=True):
        if outcome.problem is not None:
            if outcome.problem["code"] == SignatureRequired.code:
                raise SignatureRequired(outcome.problem["detail"])
            raise Refusal(number, _in_words(outcome.problem))
    codes = [str(fact["body"].get("code", "")) for _, fact in facts]
    return list(zip(codes, outcomes, strict=True))


def _in_words(problem: Mapping[str, Any]) -> str:
    first = next(iter(problem.get("errors") or [problem]))
    return str(first["detail"])


def _note_record(draft: ListedAnimal, id: UUID, by: Keeper, now: datetime) -> None:
    """What is kept beside the log: name, place and description."""
    if draft.record:
        animal = Animal.objects.get(pk=id)
        animals.edit(animal, draft.record, version=animal.version, by=by, now=now)
