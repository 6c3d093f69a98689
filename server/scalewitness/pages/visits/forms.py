"""Inviting another keeper to check animals, and answering."""

from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.functional import lazy

from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.invitations import invite_by_letter
from scalewitness.pages.animals.forms import day_field
from scalewitness.pages.calls.forms import one_of, yes_or_no
from scalewitness.pages.guards.habits import in_zone
from scalewitness.pages.parts.facts import FactForm, new_id
from scalewitness.pages.parts.picks import PickOne, Picks, PickSome
from scalewitness.pages.parts.somebody import NamesSomebody
from scalewitness.pages.parts.stating import nothing_to_sign
from scalewitness.people.models import Keeper


def moment_field(label: str, **more: Any) -> forms.DateTimeField:
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    return forms.DateTimeField(label=lazy(in_zone, str)(label), widget=widget, **more)


HALVES = {"morning": time(0), "noon": time(12), "evening": time(0)}
"""When a half of a day begins or ends; the evening ends with the day."""


def hosts_day(label: str, **more: Any) -> forms.DateField:
    return day_field(lazy(in_zone, str)(label), required=False, **more)


class InvitationForm(Picks, FactForm):
    """To somebody known by name, which is stated at once; or to an address, whoever's it is."""

    kind = "visit_invited"
    places = {  # noqa: RUF012  a mapping nobody writes to
        "/body/guest": "guest",
        "/body/opens": "first",
        "/body/closes": "last",
    }

    visit = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    guest = PickOne(label="Whom do you invite?", nothing="Somebody else", required=False)
    email = forms.EmailField(
        label="Or by e-mail",
        max_length=254,
        required=False,
        help_text="They get a letter, and can make an account if they have none.",
    )
    first = hosts_day("From", initial=timezone.localdate)
    begins = one_of("Beginning", (("morning", "in the morning"), ("noon", "at noon")))
    last = hosts_day("Until", initial=lambda: timezone.localdate() + timedelta(days=7))
    ends = one_of("Ending", (("noon", "at noon"), ("evening", "in the evening")))
    opens = moment_field("Exactly from", required=False)
    closes = moment_field("Exactly until", required=False)
    blind = yes_or_no("Blind? The guest then sees no earlier call before making their own.")
    animals = PickSome(label="Which animals?")

    def __init__(self, *args: Any, collection: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.collection = collection
        for name, usual in (("blind", "yes"), ("begins", "morning"), ("ends", "evening")):
            self.fields[name].initial = usual

    @property
    def people(self) -> list[forms.BoundField]:
        return [self["guest"], self["email"]]

    @property
    def days(self) -> list[forms.BoundField]:
        return [self["first"], self["begins"], self["last"], self["ends"]]

    @property
    def exactly(self) -> list[forms.BoundField]:
        return [self["opens"], self["closes"]]

    @property
    def exact(self) -> bool:
        """Whether exact times were given or refused."""
        return any(one.value() or one.errors for one in self.exactly)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if not given.get("guest") and not given.get("email") and "email" not in self.errors:
            self.add_error("email", "Say whom: somebody you know, or an address.")
        if given.get("guest") and given.get("email"):
            self.add_error("email", "Choose somebody or write an address, not both.")
        for day, half, exactly in (("first", "begins", "opens"), ("last", "ends", "closes")):
            if not given.get(exactly) and not given.get(day) and day not in self.errors:
                self.add_error(day, "Say on which day.")
            elif not given.get(exactly) and given.get(day) and given.get(half):
                given[exactly] = self._moment(given[day], given[half])
        return given

    def _moment(self, day: date, half: str) -> datetime:
        """In the host's zone; today's morning is not before the form was opened."""
        on = day + timedelta(days=half == "evening")
        found = timezone.make_aware(datetime.combine(on, HALVES[half]))
        try:
            shown = parse_moment(self.cleaned_data.get("at", ""))
        except ValueError:
            return found
        return shown if found < shown and on == timezone.localdate(shown) else found

    def body(self) -> dict[str, Any]:
        """Without a guest where they are written to by letter."""
        given = self.cleaned_data
        body = {
            "collection": str(self.collection),
            "animals": given["animals"],
            "opens": rfc3339(given["opens"]),
            "closes": rfc3339(given["closes"]),
            "blind": given["blind"],
        }
        return body | ({"guest": given["guest"]} if given["guest"] else {})

    def invite(self, host: Keeper) -> str | None:
        """The page of what came of it; None when it was refused, and the form then says why."""
        given = self.cleaned_data
        if given["guest"]:
            sent = self.send(given["visit"], Actor(keeper=host.pk))
            return "visit" if sent else None
        nothing_to_sign()  # before the letter is counted
        try:
            invite_by_letter(given["visit"], given["email"], self.body(), host, timezone.now())
        except Refused as refused:
            self.refuse(refused.as_problem())
            return None
        return "by_letter"

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
