"""Another server's record of an animal: quoting one, and its file for whoever checks it."""

from typing import Any
from uuid import UUID

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.domain.errors import NotFound
from scalewitness.domain.translog.bundle import MEDIA_TYPE, MOST_BYTES, BadBundle
from scalewitness.intake.rules.quoting import take_quoted_file
from scalewitness.pages.animals.animal import stewarded_animal
from scalewitness.pages.guards.uploads import sent_too_often, too_many_pictures
from scalewitness.pages.parts.access import actor_of, page, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.people.models import Keeper
from scalewitness.quoted.queries import quoted_file
from scalewitness.quoted.queries.reading import QuotedRecord, read_record
from scalewitness.receipts.queries import entry_seen


class QuoteForm(FactForm):
    kind = "record_quoted"

    file = forms.FileField(
        label="The file of its record",
        help_text=(
            "As another server gives it out (“This record as one signed file”). It is checked "
            "here, and shown as that log's. Nothing of it counts here. Free texts in it are not "
            "kept."
        ),
    )

    def __init__(self, *args: Any, animal: Animal, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._animal = animal

    def clean_file(self) -> QuotedRecord:
        sent: UploadedFile[Any] = self.cleaned_data["file"]
        try:
            return read_record(sent.read(MOST_BYTES + 1))
        except BadBundle as fault:
            raise forms.ValidationError(str(fault)) from None

    def body(self) -> dict[str, Any]:
        found: QuotedRecord = self.cleaned_data["file"]
        scheme, code = self._shared(found)
        return {
            "bundle": found.sha256,
            "origin": found.origin,
            "size": found.size,
            "animal": found.animal,
            "scheme": scheme,
            "code": code,
        }

    def clean(self) -> dict[str, Any]:
        found: QuotedRecord | None = self.cleaned_data.get("file")
        if found is not None and not self._shared(found):
            self.add_error(
                "file",
                "It is not shown to be of the same animal: the two records have no transponder "
                "and no tag in common.",
            )
        return self.cleaned_data

    def _shared(self, found: QuotedRecord) -> tuple[str, ...]:
        """A code that both bear, a transponder's rather than a tag's; empty where there is none."""
        here = set(self._animal.identifiers.values_list("scheme", "code"))
        both = sorted(here.intersection(found.codes), key=lambda one: one[0] != "transponder")
        return both[0] if both else ()


@signed_in
def quote(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    if request.method == "POST" and sent_too_often(keeper.pk):
        return too_many_pictures(request)
    form = QuoteForm(request.POST or None, request.FILES or None, animal=animal)
    if form.is_valid():
        outcome = form.send(animal_id, actor_of(keeper))
        if outcome is not None and outcome.id is not None:
            data = form.cleaned_data["file"].data
            take_quoted_file(UUID(outcome.id), data, actor_of(keeper), timezone.now())
            say_accepted(request, outcome)
            return redirect("animal", animal_id)
    context = {
        "id": animal_id,
        "title": title_of(animal),
        "heading": "Another server's record of it",
    }
    return page(request, "animals/fact.html", context, form)


@signed_in
def download(request: HttpRequest, keeper: Keeper, quote_id: UUID) -> HttpResponse:
    data = quoted_file(entry_seen(keeper.pk, quote_id, timezone.now()).fact)
    if data is None:
        raise NotFound()
    response = HttpResponse(data, content_type=MEDIA_TYPE)
    response["Content-Disposition"] = f'attachment; filename="quoted-{quote_id}.bundle"'
    return response
