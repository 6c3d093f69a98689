"""A call on any method: what every one of them asks."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.forms import BoundField
from django.utils.functional import lazy

from scalewitness.domain.choices import (
    CONCLUSIONS,
    HARMS,
    HOLDERS,
    IDENTIFIED,
    REPORTED,
    SURENESSES,
    TOLD,
    YOUR_WORD,
    briefs,
    texts,
)
from scalewitness.domain.methods import METHODS, Words
from scalewitness.domain.moments import rfc3339
from scalewitness.pages.guards.habits import in_zone
from scalewitness.pages.parts.facts import FactForm, new_id, note

Offered = Sequence[tuple[str, str]]

WHOSE: Offered = (("", "My own"), *texts(REPORTED))


def one_of(label: str, choices: Offered, **more: Any) -> forms.ChoiceField:
    """One answer out of few, all in sight."""
    more.setdefault("widget", forms.RadioSelect)
    return forms.ChoiceField(label=label, choices=choices, **more)


def yes_or_no(label: str) -> forms.TypedChoiceField:
    return forms.TypedChoiceField(
        label=label,
        choices=(("yes", "Yes"), ("no", "No")),
        coerce=lambda answer: answer == "yes",
        widget=forms.RadioSelect,
    )


@dataclass(frozen=True, slots=True)
class FieldGroup:
    """Fields under a heading; ``folded`` behind it, where they are seldom filled in."""

    heading: str
    fields: list[BoundField]
    folded: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it is shown all the same: something in it was refused or filled in."""
        return any(one.errors or one.value() not in (None, "", []) for one in self.fields)


class CallForm(FactForm):
    """``observed_fields`` are those of the method; ``steward`` may report others' calls."""

    kind = "call_made"
    method: ClassVar[str]
    observed_fields: ClassVar[tuple[str, ...]] = ()
    places = {  # noqa: RUF012  a mapping nobody writes to
        "/at": "examined",
        "/body/identified/code": "code",
        "/body/reported/who": "reported_name",
    }

    visit = forms.CharField(required=False, widget=forms.HiddenInput)
    practitioner_id = forms.UUIDField(required=False, widget=forms.HiddenInput, initial=new_id)
    """From it and the name an id is made for whoever made the check, if they have none yet."""
    conclusion = one_of("What do you conclude?", briefs(CONCLUSIONS))
    sureness = one_of("How sure are you?", briefs(SURENESSES))
    identified_by = one_of("How did you know which animal it was?", briefs(IDENTIFIED))
    code = forms.CharField(
        label="The code, as you read it then",
        required=False,
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    held_by = one_of("Who held the animal?", briefs(HOLDERS))
    harm = forms.MultipleChoiceField(
        label="Any sign of harm? Leave empty if none",
        choices=briefs(HARMS),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    told = one_of("Had anyone told you its sex before you checked?", briefs(TOLD))
    examined = forms.DateTimeField(
        label=lazy(in_zone, str)("When, if not just now"),
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    reported_role = one_of(
        "Whose check was it?",
        WHOSE,
        required=False,
        initial="",
        help_text=f"Not yours? {YOUR_WORD}",
    )
    reported_name = forms.CharField(
        label="Their name, if it was not yours",
        required=False,
        max_length=120,
        help_text="Kept out of the log. Buyers see the role only.",
    )
    document = forms.RegexField(
        r"^\s*[0-9A-Fa-f]{64}\s*$",
        label="Fingerprint of the written report, if there is one",
        required=False,
        help_text="Its SHA-256, 64 hexadecimal digits, for instance by sha256sum. Somebody without "
        "a share in the animal can then read the file and confirm it. Keep the file yourself.",
        error_messages={"invalid": "A fingerprint has 64 hexadecimal digits."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    note = note("Note", help_text="Anything the next examiner or the keeper should know.")

    practitioner: UUID | None = None
    """Who made the check, once the sender has named them to the record."""

    def __init__(self, *args: Any, steward: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unused = (
            [] if steward else ["practitioner_id", "reported_role", "reported_name", "document"]
        )
        if not self.words.hands_on:
            unused += ["held_by", "harm"]
        for name in unused:
            del self.fields[name]

    @property
    def words(self) -> Words:
        return METHODS[self.method]

    # --- showing ----------------------------------------------------------------------

    def groups(self) -> Iterable[FieldGroup]:
        """The fields in the order one works."""
        yield FieldGroup("Which animal", self._shown(("identified_by", "code", "told")))
        yield from self.seen()
        yield FieldGroup("What you conclude", self._shown(("conclusion", "sureness")))
        yield FieldGroup("How it went", self._shown(("held_by", "harm")))
        more = self._shown(("reported_role", "reported_name", "document", "examined", "note"))
        heading = "Someone else’s check, another time, a note"
        yield FieldGroup(
            heading if "reported_role" in self.fields else "Another time, a note",
            more,
            folded=self.words.at_the_rack,
        )

    def seen(self) -> Iterable[FieldGroup]:
        yield FieldGroup("What you saw", self._shown(self.observed_fields))

    def _shown(self, names: Iterable[str]) -> list[BoundField]:
        fields = [self[name] for name in names if name in self.fields]
        return [field for field in fields if not field.is_hidden]

    # --- saying -----------------------------------------------------------------------

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if given.get("reported_role") and not given.get("reported_name"):
            self.add_error("reported_name", "Say whose check it was.")
        return given

    def moment(self) -> str:
        examined: datetime | None = self.cleaned_data.get("examined")
        return rfc3339(examined.astimezone(UTC)) if examined else super().moment()

    def observed(self) -> dict[str, Any]:
        given = {name: self.cleaned_data.get(name) for name in self.observed_fields}
        seen = {name: value for name, value in given.items() if value not in (None, "")}
        return {"method": self.method, **seen}

    def identified(self) -> dict[str, str]:
        by, code = self.cleaned_data["identified_by"], self.cleaned_data["code"]
        return {"by": by, "code": code} if code else {"by": by}

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        body = {
            "conclusion": given["conclusion"],
            "sureness": given["sureness"],
            "observed": self.observed(),
            "identified": self.identified(),
            "held_by": given.get("held_by", "not_held"),
        }
        if given.get("harm"):
            body["harm"] = given["harm"]
        if given["told"] != "no":
            body["told"] = given["told"]
        if given["visit"]:
            body["visit"] = given["visit"]
        if given.get("document"):
            body["document"] = given["document"].strip().lower()
        if self.practitioner is not None:
            body["reported"] = {"role": given["reported_role"], "who": str(self.practitioner)}
        return body
