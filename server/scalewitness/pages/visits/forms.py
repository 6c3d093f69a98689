"""Inviting another keeper to check animals, and answering."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.functional import lazy

from scalewitness.domain.moments import rfc3339
from scalewitness.pages.calls.forms import one_of, yes_or_no
from scalewitness.pages.guards.habits import in_zone
from scalewitness.pages.parts.facts import FactForm, new_id
from scalewitness.pages.parts.picks import Picks, PickSome
from scalewitness.pages.parts.somebody import NamesSomebody
from scalewitness.people.queries import verified_keeper


def moment_field(label: str, **more: Any) -> forms.DateTimeField:
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    return forms.DateTimeField(label=lazy(in_zone, str)(label), widget=widget, **more)


def _in_days(days: int) -> Any:
    return lambda: timezone.now() + timedelta(days=days)


class InvitationForm(Picks, FactForm):
    kind = "visit_invited"
    places = {  # noqa: RUF012  a mapping nobody writes to
        "/body/guest": "email"
    }

    visit = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    email = forms.EmailField(
        label="Whom do you invite?",
        max_length=254,
        help_text="The address a keeper has confirmed to the record.",
    )
    opens = moment_field("From", initial=timezone.now)
    closes = moment_field("Until", initial=_in_days(7))
    blind = yes_or_no("Blind? The guest then sees no earlier call before making their own.")
    animals = PickSome(label="Which animals?")

    def __init__(self, *args: Any, collection: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.collection = collection
        self.fields["blind"].initial = "yes"

    def clean_email(self) -> str:
        email: str = self.cleaned_data["email"]
        guest = verified_keeper(email)
        if guest is None:
            raise forms.ValidationError("No keeper has confirmed this address to the record.")
        self.guest = guest.pk
        return email

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        return {
            "collection": str(self.collection),
            "guest": str(self.guest),
            "animals": given["animals"],
            "opens": rfc3339(given["opens"]),
            "closes": rfc3339(given["closes"]),
            "blind": given["blind"],
        }

    def _field_at(self, pointer: str) -> str | None:
        if pointer.startswith("/body/animals"):
            return "animals"
        return super()._field_at(pointer)


class GrantForm(NamesSomebody, FactForm):
    """Letting someone see a collection: a partner shares it, a viewer looks."""

    kind = "grant_given"
    question = "Who gets access?"
    places = {  # noqa: RUF012  a mapping nobody writes to
        "/body/to": "email"
    }

    role = one_of(
        "As what?",
        (
            ("partner", "Partner: keeps the animals with me, notes, calls and sells"),
            ("viewer", "Viewer: sees everything, changes nothing"),
        ),
    )
    until = moment_field("Ends on (optional)", required=False)
    field_order = ("known", "email")

    def body(self) -> dict[str, Any]:
        until = self.cleaned_data["until"]
        body = {"to": str(self.somebody), "role": self.cleaned_data["role"]}
        return body | ({"until": rfc3339(until)} if until else {})
