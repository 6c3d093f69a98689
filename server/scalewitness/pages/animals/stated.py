"""What is stated of an animal's traits: the list with who says so, stating one, taking one back."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.calls.queries.visibility import animal_open, sights_of
from scalewitness.domain.errors import NotFound
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.stated_words import basis_in_words, statement_in_words
from scalewitness.pages.animals.trait_form import TraitForm, TraitWithdrawalForm
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.pages.parts.listing import listed
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of
from scalewitness.traits.queries import as_statements, latest_of, stated_of, statement_of

FEW = 5
"""Statements that the page of the animal itself shows (our judgement)."""


@dataclass(frozen=True, slots=True)
class StatedTrait:
    """A statement as a page shows it. ``fell``: its proved parents speak against it; ``form`` takes
    it back, where it is the reader's own."""

    id: UUID
    position: int
    words: str
    basis: str
    who: str
    at: datetime
    note: str
    withdrawn: datetime | None
    fell: bool
    form: FactForm | None


def traits_shown(animal: Animal) -> tuple[list[StatedTrait], bool]:
    """The newest that hold, for somebody who sees the animal whole; and whether there are more."""
    found = latest_of(animal.pk, FEW + 1)
    return as_shown(found[:FEW], animal), len(found) > FEW


def as_shown(
    found: Iterable[Statement], animal: Animal, keeper: Keeper | None = None
) -> list[StatedTrait]:
    """With the forms of those that are the ``keeper``'s to take back."""
    statements = list(found)
    names = names_of({one.by for one in statements}) if statements else {}
    return [
        StatedTrait(
            id=one.id,
            position=one.position,
            words=statement_in_words(animal.species, one),
            basis=basis_in_words(one),
            who=names.get(one.by, "unknown"),
            at=one.at,
            note=one.note,
            withdrawn=one.withdrawn,
            fell=one.fell,
            form=_form(one) if keeper and one.by == keeper.pk else None,
        )
        for one in statements
    ]


def _form(one: Statement) -> FactForm | None:
    return None if one.withdrawn else TraitWithdrawalForm(one.id)


@signed_in
def show_traits(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    return _traits_page(request, keeper, animal_open(keeper.pk, animal_id, timezone.now()))


def _traits_page(
    request: HttpRequest, keeper: Keeper, animal: Animal, refused: FactForm | None = None
) -> HttpResponse:
    found = listed(request, stated_of(animal.pk))
    shown = as_shown(as_statements(found), animal, keeper)
    context = {"animal": animal, "title": title_of(animal), "shown": shown, "listed": found}
    status = refused.status if refused else 200
    return page(request, "animals/traits.html", context | {"refused": refused}, status=status)


@signed_in
def state_trait(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = animal_open(keeper.pk, animal_id, timezone.now())
    form = TraitForm(request.POST or None, species=animal.species)
    if form.is_valid():
        outcome = form.send(animal.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            return redirect("traits", animal.pk)
    context = {"animal": animal, "title": title_of(animal)}
    return page(request, "animals/state_trait.html", context, form)


@post_or_go("animals", of_it=False)
@signed_in
def withdraw_trait(request: HttpRequest, keeper: Keeper, statement_id: UUID) -> HttpResponse:
    """One's own, also of an animal that one no longer sees."""
    statement = statement_of(statement_id)
    if statement is None or statement.by != keeper.pk:
        raise NotFound()
    form = TraitWithdrawalForm(statement_id, request.POST)
    outcome = form.send(statement.animal_id, actor_of(keeper)) if form.is_valid() else None
    seen = sights_of(keeper.pk, [statement.animal_id], timezone.now())
    if outcome is None:
        if seen.get(statement.animal_id) != "all":
            raise NotFound()
        return _traits_page(request, keeper, statement.animal, form)
    say_accepted(request, outcome, "It is withdrawn at")
    if seen.get(statement.animal_id) != "all":
        return redirect("animals")
    return redirect("traits", statement.animal_id)
