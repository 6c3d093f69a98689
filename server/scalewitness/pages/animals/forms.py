"""Forms about an animal: registering, editing, identifying, noting."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import lazy

from scalewitness.animals.models import Collection, Identifier
from scalewitness.domain.choices import SHEDS, texts
from scalewitness.domain.habits import FINEST, as_grams, readers
from scalewitness.domain.sexing.taxa import species_list
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import FactForm, new_id, note
from scalewitness.pages.parts.picks import PickOne, Picks

ENDS = (("died", "It died"), ("lost", "It is lost"), ("stolen", "It was stolen"))
SCHEMES = (
    ("tag", "Tag of its tub"),
    ("transponder", "Transponder"),
    ("scale_photo", "Scale photo"),
)


def day_field(label: str, **more: Any) -> forms.DateField:
    return forms.DateField(
        label=label, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **more
    )


def species_choices(nothing: str) -> list[tuple[str, str]]:
    """Every species, none of them chosen beforehand: what stays in the log is not to be a slip."""
    known = [(kind.key, f"{kind.common} ({kind.scientific})") for kind in species_list()]
    return [("", nothing), *known]


def traits_in(typed: str) -> list[str]:
    return [one.strip() for one in typed.split(",") if one.strip()]


OFFERED = (
    "Of its species, older than it, and not verified to be of the other sex. Of every species "
    "where it is a “snake of a species not listed”, as a cross is."
)


class ParticularsForm(Picks, FactForm):
    """What an animal is said to be; sex is never among it."""

    kind = "particulars_corrected"

    species = forms.ChoiceField(label="Species")
    hatched = day_field("Hatched or born", required=False)
    traits = forms.CharField(
        label="Traits",
        required=False,
        max_length=400,
        help_text="Morphs and other traits, separated by commas.",
    )
    sire = PickOne(label="Sire", required=False, nothing="Not known", help_text=OFFERED)
    dam = PickOne(label="Dam", required=False, nothing="Not known", help_text=OFFERED)
    note = note("Why it is corrected")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["species"].choices = species_choices("Choose")  # type: ignore[attr-defined]

    def offer_kept(self, parents: Mapping[str, UUID | None]) -> None:
        """Those on record that are not among the animals to choose from may stay all the same."""
        for role, parent in parents.items():
            choices = self.fields[role].choices  # type: ignore[attr-defined]
            if parent and str(parent) not in dict(choices):
                kept = (str(parent), "The one on record, which you may not see")
                self.fields[role].choices = [*choices, kept]  # type: ignore[attr-defined]

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        hatched: date | None = given["hatched"]
        body = {
            "species": given["species"],
            "hatched": hatched.isoformat() if hatched else None,
            "sire": given["sire"] or None,
            "dam": given["dam"] or None,
            "traits": traits_in(given["traits"]),
        }
        return {name: value for name, value in body.items() if value}


class RegisterForm(ParticularsForm):
    """A new animal, with its first identifier and the name its keeper uses."""

    kind = "animal_registered"
    also = ("identifier_assigned",)

    animal = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    identifier_id = forms.CharField(widget=forms.HiddenInput, initial=new_id)
    name = forms.CharField(label="Name", required=False, max_length=80)
    scheme = forms.ChoiceField(label="Identified by", choices=SCHEMES)
    identifier = forms.CharField(
        label="Its code",
        required=False,
        max_length=60,
        help_text="Guests on a blind visit find the animal by its tag or transponder alone.",
    )
    field_order = ("species", "name", "scheme", "identifier", "hatched", "traits", "sire", "dam")

    def __init__(self, *args: Any, collection: Collection, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.collection = collection
        self.fields["species"].widget.attrs["autofocus"] = True
        del self.fields["note"]

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if not given.get("name") and not given.get("identifier"):
            self.add_error("name", "Give it a name or a code: nobody could find it by neither.")
        return given

    def body(self) -> dict[str, Any]:
        return {"collection": str(self.collection.pk), **super().body()}

    def items(self) -> list[dict[str, Any]]:
        """The animal and, when a code was given, its identifier."""
        animal = self.cleaned_data["animal"]
        items = [self.item(animal)]
        if code := self.cleaned_data["identifier"]:
            body = {"scheme": self.cleaned_data["scheme"], "code": code}
            identifier = {"kind": "identifier_assigned", "body": body, "texts": {}}
            items.append(items[0] | identifier | {"id": self.cleaned_data["identifier_id"]})
        return items

    places = {"/body/code": "identifier"}  # noqa: RUF012  a mapping nobody writes to


class IdentifierForm(FactForm):
    kind = "identifier_assigned"
    scheme = one_of("What is it?", SCHEMES)
    code = forms.CharField(
        label="Its code",
        max_length=60,
        help_text="A transponder has 15 digits; spaces do no harm.",
    )

    def body(self) -> dict[str, Any]:
        return {"scheme": self.cleaned_data["scheme"], "code": self.cleaned_data["code"]}


class IdentifierWithdrawalForm(FactForm):
    """A code that is not the animal's own."""

    kind = "identifier_withdrawn"
    borne = one_of("Which one was given to it by mistake?", ())
    note = note("Note")
    places = {"/body/code": "borne"}  # noqa: RUF012  a mapping nobody writes to

    def __init__(self, *args: Any, borne: Iterable[Identifier], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = dict(SCHEMES)
        self.fields["borne"].choices = [  # type: ignore[attr-defined]
            (f"{one.scheme} {one.code}", f"{words[one.scheme]} {one.code}") for one in borne
        ]

    def body(self) -> dict[str, Any]:
        scheme, _, code = self.cleaned_data["borne"].partition(" ")
        return {"scheme": scheme, "code": code}


class JoiningForm(FactForm):
    """What a keeper says of another record of the same snake. The kind goes by what they choose."""

    also = ("joining_proposed", "parting_proposed", "joining_answered")

    say = one_of("What is so?", ())
    places = {"/body/code": "say", "/body/joining": "say"}  # noqa: RUF012  nobody writes to it

    def __init__(self, *args: Any, may_say: Iterable[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["say"].choices = list(may_say)  # type: ignore[attr-defined]
        self.fields["say"].help_text = (
            "Joined, the calls of both records count on each; parted, each rests on its own. Where "
            "a verified sex falls by that, its buyers are told. Neither keeper sees the other’s "
            "calls by it."
        )

    def item(self, about: UUID) -> dict[str, Any]:
        act, _, what = self.cleaned_data["say"].partition(" ")
        kinds = {"join": "joining_proposed", "part": "parting_proposed"}
        bodies = {"join": {"code": what}, "part": {"joining": what}}
        answer = {"proposal": what, "agrees": act == "agree"}
        stated = {"kind": kinds.get(act, "joining_answered"), "body": bodies.get(act, answer)}
        return super().item(about) | stated


class HusbandryForm(FactForm):
    """Base of the notes; ``noted`` is what was noted."""

    kind = "husbandry_noted"
    title = ""
    note = note("Note")

    def noted(self) -> dict[str, Any]:
        raise NotImplementedError

    def body(self) -> dict[str, Any]:
        return {"noted": self.noted()}


class WeightField(forms.DecimalField):
    """Typed in the unit that its reader uses; what comes of it is grams. ``before`` stands in the
    label before the unit."""

    widget = forms.NumberInput(attrs={"inputmode": "decimal"})

    def __init__(self, before: str = "", **more: Any) -> None:
        label = _labelled(before)
        super().__init__(label=label, min_value=0, max_value=999_999, decimal_places=2, **more)
        self.widget.attrs["step"] = "any"

    def clean(self, value: Any) -> Any:
        typed = super().clean(value)
        if typed is None:
            return None
        grams = as_grams(typed)
        if grams != grams.quantize(FINEST):
            raise ValidationError("Grams are kept to a tenth: give one digit after the point.")
        return grams


def _unit(before: str) -> str:
    unit = "ounces" if readers().weights == "ounces" else "grams"
    return f"{before} in {unit}" if before else unit.capitalize()


_labelled = lazy(_unit, str)
"""A form is made once, and read by many."""


class WeightForm(HusbandryForm):
    title = "Weight"
    grams = WeightField()
    field_order = ("grams", "note")

    def noted(self) -> dict[str, Any]:
        return {"type": "weight", "grams": f"{self.cleaned_data['grams'].normalize():f}"}


class MealForm(HusbandryForm):
    title = "Meal"
    taken = one_of("Was it taken?", (("yes", "Taken"), ("no", "Refused")))
    grams = WeightField("Prey", required=False)
    field_order = ("taken", "grams", "note")

    def noted(self) -> dict[str, Any]:
        noted: dict[str, Any] = {"type": "meal", "taken": self.cleaned_data["taken"] == "yes"}
        if self.cleaned_data["grams"] is not None:
            noted["grams"] = f"{self.cleaned_data['grams'].normalize():f}"
        return noted


class ShedForm(HusbandryForm):
    title = "Shed"
    stage = one_of("Where is it?", texts(SHEDS))
    field_order = ("stage", "note")

    def noted(self) -> dict[str, Any]:
        return {"type": "shed", "stage": self.cleaned_data["stage"]}


class HealthForm(HusbandryForm):
    title = "Health"
    sign = one_of(
        "How is it?",
        (
            ("well", "Well"),
            ("gravid", "Gravid"),
            ("ill", "Ill"),
            ("injured", "Injured"),
            ("under_treatment", "Under treatment"),
            ("other", "Something else"),
        ),
    )
    field_order = ("sign", "note")

    def noted(self) -> dict[str, Any]:
        return {"type": "health", "sign": self.cleaned_data["sign"]}


class RemarkForm(HusbandryForm):
    title = "Note"
    note = note("What you noticed")

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["note"].required = True

    def noted(self) -> dict[str, Any]:
        return {"type": "remark"}


HUSBANDRY: Mapping[str, type[HusbandryForm]] = {
    "weight": WeightForm,
    "meal": MealForm,
    "shed": ShedForm,
    "health": HealthForm,
    "remark": RemarkForm,
}


class EndForm(FactForm):
    """Why the animal is no longer there, and since when."""

    kind = "animal_ended"
    why = one_of("What happened?", ENDS)
    day = day_field("On which day, if not today", required=False)
    note = note("Note")
    places = {"/at": "day"}  # noqa: RUF012  a mapping nobody writes to

    def body(self) -> dict[str, Any]:
        return {"why": self.cleaned_data["why"]}

    def moment(self) -> str:
        """The middle of the day that was named, UTC."""
        day: date | None = self.cleaned_data["day"]
        opened = super().moment()
        return opened if day is None or opened.startswith(str(day)) else f"{day}T12:00:00.000Z"


class SlipForm(FactForm):
    """That there is no such animal, or that it is registered twice."""

    kind = "registered_in_error"
    note = note("Note")


class EndCorrectionForm(FactForm):
    kind = "end_corrected"
    why = one_of("Why is it there again?", ())
    note = note("Note")

    def __init__(self, *args: Any, ended: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        found = () if ended == "died" else (("found", "It was found again"),)
        mistake = ("mistake", "That it ended was stated by mistake")
        self.fields["why"].choices = [*found, mistake]  # type: ignore[attr-defined]

    def body(self) -> dict[str, Any]:
        return {"why": self.cleaned_data["why"]}


class RecordForm(forms.Form):
    """The record a keeper edits, under the version they read."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    name = forms.CharField(label="Name", required=False, max_length=80)
    rack = forms.CharField(label="Rack or place", required=False, max_length=40)
    description = forms.CharField(
        label="Description",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    hold_off = forms.BooleanField(
        label="Ask everyone to leave this animal alone for now", required=False
    )

    def given(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in RECORD}


RECORD = ("name", "rack", "description", "hold_off")
