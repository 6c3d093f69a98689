"""A form that says one fact.

Its id and moment are made when the form is shown and travel in hidden fields, so sending
it twice says the same fact twice, which the record takes once.
"""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django import forms
from django.http import QueryDict
from django.utils import timezone

from scalewitness.domain.errors import NotFound, Refused, SignatureRequired
from scalewitness.domain.moments import rfc3339
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.pages.parts.stating import say
from scalewitness.pages.parts.unsigned import file_to_sign

TEXTS = ("note", "reasons", "statement")
TEXT_LIMIT = 4000


def new_id() -> str:
    return str(fresh_id(timezone.now()))


def this_moment() -> str:
    return rfc3339(timezone.now())


def retype(form: forms.BaseForm, name: str, value: str) -> None:
    """Change one hidden value of a form that is shown again; the rest stays as typed."""
    data = QueryDict(mutable=True)
    data.update(form.data)
    data[name] = value
    form.data = data


def note(label: str, **more: Any) -> forms.CharField:
    """Free text beside a fact; it can be erased by law without breaking the record."""
    area = forms.Textarea(attrs={"rows": 3})
    return forms.CharField(label=label, required=False, max_length=TEXT_LIMIT, widget=area, **more)


class FactForm(forms.Form):
    """``kind`` names the fact; ``places`` maps JSON pointers of refusals to fields."""

    kind: str = ""
    also: tuple[str, ...] = ()
    """Kinds of other facts that it states."""
    places: Mapping[str, str] = {}

    id = forms.CharField(widget=forms.HiddenInput, initial=new_id)
    at = forms.CharField(widget=forms.HiddenInput, initial=this_moment)

    problem: Mapping[str, Any] | None = None
    to_sign: str | None = None
    """The address of a file of what takes a device's signature."""

    @property
    def status(self) -> int:
        """200 until something was refused, then the refusal's own status."""
        if self.problem is not None:
            return int(self.problem["status"])
        return 422 if self.is_bound and self.errors else 200

    @property
    def refused_as(self) -> str | None:
        """The stable code of the refusal, if there was one."""
        return self.problem["code"] if self.problem else None

    @property
    def says(self) -> str:
        """The kinds of facts that it may state: a browser signs no other for it."""
        return " ".join(filter(None, (self.kind, *self.also)))

    def body(self) -> dict[str, Any]:
        """The fact's body; by default it has none."""
        return {}

    def moment(self) -> str:
        """When it happened, as RFC 3339; by default when the form was opened."""
        return str(self.cleaned_data["at"])

    def texts(self) -> dict[str, str]:
        written = {name: self.cleaned_data.get(name) for name in TEXTS}
        return {name: text for name, text in written.items() if text}

    def item(self, about: UUID) -> dict[str, Any]:
        """The envelope, as any other client would send it."""
        return {
            "id": self.cleaned_data["id"],
            "kind": self.kind,
            "at": self.moment(),
            "about": str(about),
            "body": self.body(),
            "texts": self.texts(),
        }

    def send(self, about: UUID, actor: Actor) -> Outcome | None:
        """Say it. None when it was refused; the form then says why.

        Raises:
            NotFound: it is about something that is not the actor's to see.
        """
        item = self.item(about)  # before a refusal takes the field that it names out of the form
        try:
            (outcome,) = say([item], actor, timezone.now())
            if outcome.problem is None:
                return outcome
            self.refuse(outcome.problem)
        except Refused as refused:
            self.refuse(refused.as_problem())
        self.keep_to_sign([item], actor.keeper)
        return None

    def keep_to_sign(self, items: Iterable[Mapping[str, Any]], keeper: UUID | None) -> None:
        """Hand over what was to be sent, if it was refused for want of a signature."""
        if keeper is not None and self.refused_as == SignatureRequired.code:
            self.to_sign = file_to_sign(items, keeper)

    def refuse(self, problem: Mapping[str, Any]) -> None:
        """Put a refusal beside the field it is about, or above them all."""
        if problem["code"] == "not_found":
            raise NotFound()
        self.problem = problem
        for error in problem.get("errors") or [problem]:
            self.add_error(self._field_at(error.get("pointer") or ""), error["detail"])

    def _field_at(self, pointer: str) -> str | None:
        named = self.places.get(pointer) or pointer.rpartition("/")[2]
        field = self.fields.get(named)
        return named if field and not field.widget.is_hidden else None


class StepForm(FactForm):
    """One button: a fact without a body. Several stand on a page, hence no element ids."""

    def __init__(self, kind: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = False
        self.kind = kind
