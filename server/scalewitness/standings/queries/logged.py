"""Standings as they were logged: the one in force, any past one, and how they came about."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeAlias, TypedDict
from uuid import UUID

from django.db.models import Count, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.bearing import known_elsewhere
from scalewitness.domain.consequences import verified_sex
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.kept import Before
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import Prepared, any_of, columns
from scalewitness.standings.models import Standing

UNSEXED = "unsexed"


class Heard(TypedDict):
    heard: datetime


if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    StandingHeard: TypeAlias = WithAnnotations[Standing, Heard]
    """With the time at which the record took in its cause."""
else:
    StandingHeard = Standing


def latest_standing(animal: UUID, at: int | None = None) -> Standing | None:
    """The standing in force at log position ``at`` (now when None); None: nothing that
    could tell a sex was recorded yet."""
    standings = Standing.objects.filter(animal=animal)
    if at is not None:
        standings = standings.filter(position__lte=at)
    return standings.order_by("-position").first()


def last_verified(animal: UUID, before: int) -> Sex | None:
    """The sex that a standing verified last, before that log position; None: none ever did."""
    earlier = Standing.objects.filter(animal=animal, position__lt=before)
    found = earlier.filter(label__startswith="verified ").order_by("-position").first()
    return verified_sex(found.label) if found else None


def latest_standings(animals: Iterable[UUID]) -> dict[UUID, Standing]:
    return {row.animal_id: row for row in LATEST.rows_of(Standing, animals=list(animals))}


def standings_at(animals: Iterable[UUID], at: int) -> dict[UUID, Standing]:
    """Those in force at that log position; animals without one are absent."""
    rows = Standing.objects.filter(animal__in=list(animals), position__lte=at)
    latest = rows.order_by("animal", "-position").distinct("animal")
    return {row.animal_id: row for row in latest}


def outdated(animals: Iterable[UUID]) -> set[UUID]:
    """Those whose standing in force says otherwise than is so by now of whether their number is
    another record's."""
    wanted = set(animals)
    if not wanted:
        return set()
    stated, now = latest_standings(wanted), known_elsewhere(wanted)
    capped = {animal for animal, standing in stated.items() if standing.known_elsewhere}
    return capped ^ now


def _latest(animals: Any) -> QuerySet[Standing, Standing]:
    rows = any_of(Standing.objects.all(), '"calls_standing"."animal_id"', animals)
    return rows.order_by("animal", "-position").distinct("animal")


LATEST = Prepared(
    lambda animals: _latest(animals).values_list(*columns(Standing)), animals=(UUID(int=1),)
)


def labels_of(animals: Iterable[UUID]) -> dict[UUID, str]:
    """The labels of the standings in force; animals without one are absent."""
    wanted = list(animals)
    return dict(LABELS.ask(animals=wanted)) if wanted else {}


def before(animals: Iterable[UUID]) -> dict[UUID, Before]:
    """What the next standing of each follows; animals without one are absent."""
    return {animal: Before(*stated) for animal, *stated in BEFORE.ask(animals=list(animals))}


def stated_as(standing: Standing) -> Before:
    """The same of one row."""
    return Before(*(getattr(standing, name) for name in Before.__struct_fields__))


BEFORE = Prepared(
    lambda animals: _latest(animals).values_list("animal", *Before.__struct_fields__),
    animals=(UUID(int=1),),
)
LABELS = Prepared(
    lambda animals: _latest(animals).values_list("animal", "label"), animals=(UUID(int=1),)
)


def labels_counted(collections: Iterable[UUID]) -> dict[UUID, Counter[str]]:
    """By collection, how many of its animals stand under each label now; for those who see all
    of them. Of each animal the one row in force is looked up, not all there ever were."""
    there = Animal.objects.filter(collection__in=list(collections), ended="")
    rows = there.annotate(label=label_in_force())
    found: dict[UUID, Counter[str]] = {}
    for collection, name, number in (
        rows.order_by().values_list("collection", "label").annotate(number=Count("pk"))
    ):
        found.setdefault(collection, Counter())[name] = number
    return found


def in_force(column: str, of: str = "pk") -> Subquery:
    """A column of the standing in force of the animal that is ``of`` an outer query's row; null
    where there is none."""
    latest = Standing.objects.filter(animal=OuterRef(of)).order_by("-position")
    return Subquery(latest.values(column)[:1])


def label_in_force(of: str = "pk") -> Coalesce:
    """The label that the animal, as `in_force` has it, stands under now."""
    return Coalesce(in_force("label", of), Value(UNSEXED))


def label_of(standing: Standing | None) -> str:
    return standing.label if standing else UNSEXED


def standings_of(animal: UUID) -> QuerySet[StandingHeard]:
    """Every standing logged for the animal, in log order."""
    heard = Entry.objects.filter(position=OuterRef("position")).values("received_at")
    rows = Standing.objects.filter(animal=animal).annotate(heard=Subquery(heard))
    return rows.order_by("position")
