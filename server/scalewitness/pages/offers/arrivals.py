"""A buyer says whether the snake that arrived is the one they bought: through their link, or signed
in."""

from typing import Any, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Animal, Photo
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import NotFound
from scalewitness.domain.identifiers import parse_transponder
from scalewitness.domain.sales import RELIED_ON
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.home.titles import name_in
from scalewitness.pages.offers.offer import actor_by, by_link
from scalewitness.pages.parts.access import actor_of, page, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.people.models import Keeper
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import progress_of, sale_of
from scalewitness.sales.queries.arrivals import (
    arrivals_of,
    photos_offered,
    recheck_until,
    transponders_of,
)
from scalewitness.sales.queries.returns import came_back

ANSWERS: Final = (
    ("same", "Yes, the same snake"),
    ("another", "No, another snake"),
    ("cannot_tell", "I cannot tell"),
)


class ArrivalForm(FactForm):
    """``photo``: the one on the page, if any; it goes on record as what was compared."""

    kind = "arrival_compared"

    read = forms.CharField(
        label="The transponder you read from it",
        required=False,
        max_length=40,
        help_text="15 digits. Move the reader slowly along the whole snake, both sides. If it "
        "reads nothing, leave this empty and compare the photo.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    answer = one_of("Is it the same snake?", ANSWERS)

    def __init__(self, *args: Any, animal: UUID, photo: Photo | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.animal, self.photo = animal, photo

    def clean_read(self) -> str:
        typed = self.cleaned_data["read"].strip()
        try:
            return parse_transponder(typed).code if typed else ""
        except ValueError as problem:
            raise forms.ValidationError(f"Nothing was recorded: {problem}.") from None

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        body = {"animal": str(self.animal), "answer": given["answer"]}
        if given["read"]:
            body["read"] = given["read"]
        return body | ({"photo": str(self.photo.pk)} if self.photo else {})


@by_link
def answer_by_link(
    request: HttpRequest, token: str, link: OfferLink, animal_id: UUID
) -> HttpResponse:
    sale, animal = link.sale, _arrived(link.sale, animal_id)
    form = _form(request, sale, animal, with_photos=True)
    if form.is_valid() and form.send(sale.pk, actor_by(link)) is not None:
        return redirect("offer_arrival", token, animal.pk)
    return _page(request, sale, animal, form, token)


@signed_in
def answer(request: HttpRequest, keeper: Keeper, sale_id: UUID, animal_id: UUID) -> HttpResponse:
    sale = sale_of(sale_id)
    if sale is None or sale.buyer.keeper_id != keeper.pk:
        raise NotFound()
    animal = _arrived(sale, animal_id)
    form = _form(request, sale, animal, with_photos=_is_open(keeper, animal))
    if form.is_valid() and form.send(sale.pk, actor_of(keeper)) is not None:
        return redirect("arrival", sale.pk, animal.pk)
    return _page(request, sale, animal, form)


def _arrived(sale: Sale, animal: UUID) -> Animal:
    found = sale.animals.filter(pk=animal).first()
    if found is None or progress_of(sale).state not in RELIED_ON:
        raise NotFound()
    return found


def _is_open(keeper: Keeper, animal: Animal) -> bool:
    try:
        animal_open(keeper.pk, animal.pk, timezone.now())
    except NotFound:
        return False
    return True


def _form(request: HttpRequest, sale: Sale, animal: Animal, *, with_photos: bool) -> ArrivalForm:
    shown = next(iter(photos_offered(animal, sale)), None) if with_photos else None
    return ArrivalForm(request.POST or None, animal=animal.pk, photo=shown)


def _page(
    request: HttpRequest, sale: Sale, animal: Animal, form: ArrivalForm, token: str = ""
) -> HttpResponse:
    answers, until = arrivals_of(sale, animal.pk), recheck_until(sale)
    context = {
        "frame": "offers/base.html" if token else "base.html",
        "token": token,
        "animal_id": animal.pk,
        "title": name_in(sale, animal),
        "taxon": taxon(animal.species),
        "seller": sale.collection.keeper,
        "codes": transponders_of(animal, sale)[0],
        "photo": form.photo,
        "last": answers[-1] if answers else None,
        "before": answers[-2::-1],
        "until": until,
        "over": until is not None and until <= timezone.now(),
        "back": came_back(sale, animal, timezone.now()),
    }
    return page(request, "offers/arrival.html", context, form)
