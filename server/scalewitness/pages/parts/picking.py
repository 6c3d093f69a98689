"""Choosing among many: a few at a time, found as one types. What was chosen stays chosen and what
was typed stays typed, whatever is searched for next.

Without script the button beside the search sends the form as it is, and nothing of it is recorded.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpRequest, QueryDict
from django.utils import timezone

from scalewitness.animals.models import ON_SHEET, Collection
from scalewitness.animals.queries.partners import given_access_by
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.habits import month_in_words
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.ledger.queries.entries import last_spoken_of
from scalewitness.pages.animals.table import age_of
from scalewitness.pages.parts.picks import Pick, Picks, Source
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of
from scalewitness.searching.animals import with_text
from scalewitness.searching.order import KEYS
from scalewitness.standings.queries.logged import UNSEXED, labels_of

RECENT = 100
"""Statements looked back on for what is offered first (our judgement)."""
Form = TypeVar("Form", bound=Picks)
Sources = Mapping[str, Source | Callable[[Any], Source]]


@dataclass(frozen=True, slots=True)
class AnimalsToPick:
    """Out of ``rows``, which carry the asker's ``sight``. ``first``: those offered before others;
    next come those of which the asker last stated something. ``allowed``: what may be chosen, where
    that is more than is offered."""

    rows: QuerySet[Any]
    keeper: UUID
    now: datetime
    first: Sequence[UUID] = ()
    allowed: QuerySet[Any] | None = None
    found_by = "name, tag or transponder"

    @property
    def narrows(self) -> bool:
        return self.allowed is not None

    def found(self, text: str, but: Sequence[str], most: int) -> Sequence[Pick]:
        left = self.rows.exclude(pk__in=ids_among(but)).order_by()
        if text:
            return self._words(_by_name(left.filter(with_text(self.keeper, text, self.now)), most))
        likely = [*self.first, *last_spoken_of(self.keeper, RECENT)]
        ahead = _in_order(left.filter(pk__in=likely), likely)[:most]
        rest = left.exclude(pk__in=[one.pk for one in ahead])
        return self._words([*ahead, *_by_name(rest, most - len(ahead))])

    def named(self, values: Sequence[str]) -> Sequence[Pick]:
        wanted = ids_among(values)
        rows = self.rows if self.allowed is None else self.allowed
        return self._words(_in_order(rows.filter(pk__in=wanted), wanted)) if wanted else ()

    def _words(self, animals: Sequence[Any]) -> list[Pick]:
        labels = labels_of([one.pk for one in animals if one.sight == "all"])
        return [_choice(one, labels.get(one.pk, UNSEXED), self.now) for one in animals]


def own_animals(
    keeper: Keeper, collection: Collection, first: Sequence[UUID] = ()
) -> AnimalsToPick:
    """Those in a collection that the keeper holds or is a partner in."""
    now = timezone.now()
    rows = visible_animals(keeper.pk, now).filter(collection=collection, sight="all", ended="")
    return AnimalsToPick(rows, keeper.pk, now, first)


def _by_name(rows: QuerySet[Any], most: int) -> list[Any]:
    ordered = rows.annotate(place=KEYS["name"]()).order_by("place", "pk")
    return list(ordered.prefetch_related("identifiers")[:most])


def _in_order(rows: QuerySet[Any], wanted: Sequence[UUID]) -> list[Any]:
    found = {one.pk: one for one in rows.order_by().prefetch_related("identifiers")}
    return [found[one] for one in dict.fromkeys(wanted) if one in found]


def _choice(animal: Any, label: str, now: datetime) -> Pick:
    """Its name and codes, and what tells it from others; of one to be checked blind, what stands
    on the sheet."""
    blind = animal.sight != "all"
    codes = [one.code for one in animal.identifiers.all() if not blind or one.scheme in ON_SHEET]
    named = "" if blind else animal.name
    title = named or next(iter(codes), "No name, no code")
    known = [*(codes if named else codes[1:]), taxon(animal.species).common]
    known += [age_of(animal.hatched, now.date()), "" if blind else label]
    return Pick(str(animal.pk), title, " · ".join(filter(None, known)))


@dataclass(frozen=True, slots=True)
class Listed:
    """A list that is known whole, in the order given."""

    choices: Sequence[Pick]
    found_by = "name"
    narrows = False

    def found(self, text: str, but: Sequence[str], most: int) -> Sequence[Pick]:
        wanted = text.casefold()
        left = (one for one in self.choices if one.value not in but)
        return [one for one in left if wanted in f"{one.title} {one.fine}".casefold()][:most]

    def named(self, values: Sequence[str]) -> Sequence[Pick]:
        return [one for one in self.choices if one.value in values]


def choices_of(words: Mapping[Any, str]) -> Listed:
    """Each with its words."""
    return Listed([Pick(str(value), title) for value, title in words.items()])


def people_known(keeper: UUID) -> Listed:
    """Keepers to whom the asker gave access before, the latest first."""
    given = given_access_by(keeper)
    names = names_of(one.to_id for one in given)
    return Listed([known_as(one.to_id, names[one.to_id], one.role, one.opens) for one in given])


def known_as(person: UUID, name: str, role: str, since: datetime) -> Pick:
    """Somebody to choose by name, which is anybody's to take: so also as what, and since when."""
    return Pick(str(person), name, f"{role}, {month_in_words(since)}")


def picked(
    request: HttpRequest,
    kind: Callable[..., Form],
    sources: Sources,
    *,
    initial: Mapping[str, Any] | None = None,
    **more: Any,
) -> Form:
    """The form with each of its pickers offered its source: as sent to be recorded; else with what
    stood in it when one searched; else with what the address names, and ``initial``. A source may
    be worked out from the form, as one narrows another."""
    start = {**(initial or {}), **_in_address(request, sources), **typed(request, kind)}
    form = kind(sent(request), initial=start, **more)
    offer(request, form, sources)
    return form


def offer(request: HttpRequest, form: Picks, sources: Sources) -> None:
    """Let the form's pickers choose out of these."""
    for name, field in form.picks.items():
        source = sources[name]
        given = form[name].value() or ()
        values = [given] if isinstance(given, str | UUID) else given
        there = source(form) if callable(source) else source
        field.offer(there, values, sought(request, name))


def sought(request: HttpRequest, name: str) -> str:
    """What is searched for in the field of that name."""
    given = request.POST.get(f"find_{name}") or request.GET.get(f"find_{name}") or ""
    return given.replace("\x00", "").strip()[:80]  # no text here holds a NUL


def sent(request: HttpRequest) -> QueryDict | None:
    """The form as sent to be recorded; None where one only searched."""
    return None if is_search(request) else request.POST or None


def is_search(request: HttpRequest) -> bool:
    """Whether one searched: by the button beside a search, or by Enter while something stands in
    one. Else Enter sends the form, as everywhere."""
    given = request.POST or request.GET
    if "enter" in given:
        return any(given[name].strip() for name in given if name.startswith("find_"))
    return "find" in given


def typed(request: HttpRequest, kind: Any) -> Mapping[str, Any]:
    """What stood in the form when one searched, to be shown again as it was."""
    if not is_search(request):
        return {}
    return {
        name: field.widget.value_from_datadict(request.POST, request.FILES, name)
        for name, field in kind.base_fields.items()
    }


def _in_address(request: HttpRequest, sources: Sources) -> dict[str, list[str]]:
    return {name: request.GET.getlist(name) for name in sources if name in request.GET}


def ids_among(given: Iterable[object]) -> list[UUID]:
    """The ids among what was sent; what is none, nobody could have chosen, and the form says
    so."""
    return [found for one in given if (found := _id(one))]


def _id(given: object) -> UUID | None:
    try:
        return UUID(str(given))
    except ValueError:
        return None
