"""Choosing among many animals: a few at a time, found by name, rack or code. What was chosen
before stays chosen, whatever is searched for next."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, QueryDict

from scalewitness.animals.models import Animal
from scalewitness.pages.parts.picks import Picks

SHOWN = 25
"""Animals offered at a time beside those chosen (our judgement: more are searched, not read)."""


@dataclass(frozen=True, slots=True)
class Offered:
    """``choices`` by id, those chosen already first; ``more``: a search would find others;
    ``wanted``: what was searched for."""

    choices: Sequence[tuple[str, str]]
    more: bool
    wanted: str


def sought(request: HttpRequest) -> str:
    """What is searched for."""
    given = request.POST.get("q") or request.GET.get("q") or ""
    return given.replace("\x00", "").strip()  # no text here holds a NUL


def matching(animals: QuerySet[Animal], wanted: str) -> QuerySet[Animal]:
    """Those whose name, rack or any code holds the text."""
    if not wanted:
        return animals
    named = Q(name__icontains=wanted) | Q(rack__icontains=wanted)
    return animals.filter(named | Q(identifiers__code__icontains=wanted)).distinct()


def offered(
    request: HttpRequest, animals: QuerySet[Animal], chosen: Iterable[object] = ()
) -> Offered:
    """Out of ``animals``, which are the asker's to choose: those chosen, and the first that
    match what is searched for."""
    wanted, ids = sought(request), set(ids_among(chosen))
    listed = animals.prefetch_related("identifiers").order_by("name", "pk")
    found = list(matching(listed.exclude(pk__in=ids), wanted)[: SHOWN + 1])
    shown = [*(listed.filter(pk__in=ids) if ids else ()), *found[:SHOWN]]
    choices = [(str(one.pk), choice_of(one)) for one in shown]
    return Offered(choices, len(found) > SHOWN, wanted)


def choice_of(animal: Animal) -> str:
    """An animal as a line to choose: its name and codes."""
    codes = ", ".join(one.code for one in animal.identifiers.all())
    return " · ".join(part for part in (animal.name, codes) if part) or str(animal.pk)


def chosen(request: HttpRequest, name: str, before: Iterable[object] = ()) -> list[Any]:
    """What is chosen in the field of that name: as sent, else as the address has it, else
    ``before``."""
    for given in (request.POST, request.GET):
        if name in given or "find" in given:
            return given.getlist(name)
    return list(before)


def sent(request: HttpRequest) -> QueryDict | None:
    """The form as sent to be recorded; None where only animals were looked for."""
    return None if "find" in request.POST else request.POST or None


def typed(request: HttpRequest, kind: type[forms.Form]) -> Mapping[str, Any]:
    """What stood in the form when animals were looked for, to be shown again as it was."""
    if "find" not in request.POST:
        return {}
    return {
        name: field.widget.value_from_datadict(request.POST, request.FILES, name)
        for name, field in kind.base_fields.items()
    }


def ids_among(given: Iterable[object]) -> list[UUID]:
    """The ids among what was sent; what is none, nobody could have chosen, and the form says
    so."""
    return [found for one in given if (found := _id(one))]


def _id(given: object) -> UUID | None:
    try:
        return UUID(str(given))
    except ValueError:
        return None


def pick(form: Picks, there: Offered) -> None:
    """Let the form choose among them."""
    form.offer(there.choices, more=there.more, wanted=there.wanted)
