"""Photos: looking at one, and attaching one from a page."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.queries import title_of
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import animal_seen
from scalewitness.domain.errors import Busy, NotFound
from scalewitness.domain.pictures.plain import MEDIA_TYPE
from scalewitness.intake.rules.photos import keep_reencoded_file
from scalewitness.pages.animals.animal import blind_title
from scalewitness.pages.animals.photo_form import PhotoForm
from scalewitness.pages.guards.uploads import sent_too_often, too_many_pictures
from scalewitness.pages.offers.offer import by_link
from scalewitness.pages.parts.access import actor_of, page, say_accepted, signed_in
from scalewitness.people.models import Keeper
from scalewitness.receipts.by_link import photo_shown
from scalewitness.receipts.queries import entry_seen
from scalewitness.sales.models import OfferLink


@signed_in
def show_photo(request: HttpRequest, keeper: Keeper, photo_id: UUID) -> HttpResponse:
    return _picture(entry_seen(keeper.pk, photo_id, timezone.now()).fact)


@by_link
def show_by_link(request: HttpRequest, token: str, link: OfferLink, photo_id: UUID) -> HttpResponse:
    return _picture(photo_shown(link, photo_id))


def _picture(photo: UUID) -> HttpResponse:
    data = photo_file(photo)
    if data is None:
        raise NotFound()
    response = HttpResponse(data, content_type=MEDIA_TYPE)
    response["Cache-Control"] = "private, no-store"
    response["Content-Disposition"] = f'inline; filename="photo-{photo}.jpg"'
    return response


@signed_in
def attach(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """Of the animal, or with ``call`` in the address of that call."""
    animal, sight = animal_seen(keeper.pk, animal_id, timezone.now())
    call = _own_call(request.GET.get("call"), keeper, animal_id)
    if request.method == "POST" and sent_too_often(keeper.pk):
        return too_many_pictures(request)
    form = PhotoForm(request.POST or None, request.FILES or None, of=call, by=keeper.pk)
    if form.is_valid():
        outcome = form.send(animal_id, actor_of(keeper))
        if outcome is not None and outcome.id is not None:
            picture = form.cleaned_data["picture"]
            keep_reencoded_file(UUID(outcome.id), picture, actor_of(keeper), timezone.now())
            say_accepted(request, outcome)
            return redirect("accepted", call) if call else redirect("animal", animal_id)
    title = title_of(animal) if sight == "all" else blind_title(animal)
    heading = "A photo of your call" if call else "A photo of the animal"
    context = {"id": animal_id, "title": title, "heading": heading}
    response = page(request, "animals/fact.html", context, form)
    if form.status == Busy.status:
        response.headers["Retry-After"] = str(Busy.retry_after)
    return response


def _own_call(text: str | None, keeper: Keeper, animal: UUID) -> UUID | None:
    if text is None:
        return None
    try:
        call = call_of(UUID(text))
    except ValueError:
        raise Http404 from None
    if call is None or call.by != keeper.pk or call.animal_id != animal:
        raise Http404
    return call.pk
