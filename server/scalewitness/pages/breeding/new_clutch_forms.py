"""A clutch to be registered: what all of it share, and a row for each of the young."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, cast
from uuid import UUID

from django import forms
from django.db.models import QuerySet

from scalewitness.animals.models import Animal
from scalewitness.domain.choices import CONCLUSIONS, SURENESSES, texts
from scalewitness.domain.identifiers import MAX_TAG_CHARACTERS
from scalewitness.domain.methods import CONCLUDED_OF_EVERTED, EVERTED
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.animals.forms import WeightField, day_field, species_choices, traits_in
from scalewitness.pages.breeding.clutch_forms import TogetherForm
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import FactForm, new_id
from scalewitness.pages.parts.picks import PickOne, Picks

MOST: Final = 100
"""Young in one clutch: our judgement. A form of so many stays within the thousand fields that are
taken, and on a page that can still be looked through."""
Item = dict[str, Any]
Pairs = Mapping[str, tuple[Animal, Animal]]
"""Planned pairings by id: sire and dam."""
UNDETERMINED: Final = "undetermined"
CHECKS: Final = (
    ("", "Not checked"),
    *(
        (f"{seen.word} {one.word}", f"{seen.text}: {one.brief.lower()}")
        for seen in EVERTED
        for one in CONCLUSIONS
        if one.word in CONCLUDED_OF_EVERTED[seen.word]
    ),
)
"""What came out, and what the examiner concludes: one answer, both of them their own."""


class ClutchForm(Picks, FactForm):
    """What is the same for the whole clutch. ``animals``: those to choose parents from;
    ``pairings``: those to choose both from at once."""

    kind = "animal_registered"
    also = ("identifier_assigned", "husbandry_noted", "call_made")
    id = None  # type: ignore[assignment]  # each of the young has its own
    parents = ("dam", "sire")

    pairing = PickOne(label="Planned pairing", required=False, nothing="None of them")
    dam = PickOne(label="Dam", required=False, nothing="Not known")
    sire = PickOne(label="Sire", required=False, nothing="Not known")
    hatched = day_field("Hatched or born")
    number = forms.IntegerField(label="How many", min_value=1, max_value=MOST)
    pattern = forms.CharField(
        label="Codes",
        max_length=MAX_TAG_CHARACTERS,
        help_text="For the tags of their tubs. # stands for the number: LG-26-## makes LG-26-01, "
        "LG-26-02 and so on.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    first = forms.IntegerField(label="Numbered from", min_value=0, max_value=99_999, initial=1)
    species = forms.ChoiceField(
        label="Species",
        required=False,
        choices=lambda: species_choices("The parents’"),
        help_text="To choose only where the parents are not both named, or differ.",
    )
    shared = forms.CharField(
        label="Traits of them all",
        required=False,
        max_length=400,
        help_text="Separated by commas; you can change them for each.",
    )

    def __init__(
        self,
        *args: Any,
        animals: QuerySet[Animal],
        pairings: Pairs,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.animals, self.pairings = animals, pairings
        if not pairings:
            del self.fields["pairing"]

    def clean_pattern(self) -> str:
        pattern = str(self.cleaned_data["pattern"])
        if "#" not in pattern:
            raise forms.ValidationError("Put # where the number goes, such as LG-26-##.")
        return pattern

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if given.get("pairing"):
            self._take_parents(given)
        if not self.errors.keys() & {"sire", "dam", "pairing", "species"}:
            self._take_species(given)
        return given

    def _take_parents(self, given: dict[str, Any]) -> None:
        for role, parent in zip(("sire", "dam"), self.pairings[given["pairing"]], strict=True):
            if given.get(role) not in ("", str(parent.pk)):
                self.add_error(role, "The pairing that you chose has another. Leave out one.")
            given[role] = str(parent.pk)

    def _take_species(self, given: dict[str, Any]) -> None:
        named = [given[one] for one in ("sire", "dam") if given.get(one)]
        kinds = [one.species for one in self.animals.filter(pk__in=named)]
        agreed = kinds[0] if len(kinds) == 2 and len(set(kinds)) == 1 else ""
        if agreed and given["species"] not in ("", agreed):
            self.add_error("species", f"Both parents are on record as {taxon(agreed).common}.")
            return
        given["species"] = given["species"] or agreed
        if not given["species"]:
            self.add_error(
                "species",
                "Choose the species: it does not follow from the parents. Young of two species are "
                "each a “snake of a species not listed”.",
            )

    def codes(self) -> list[str]:
        """One for each of the young, in order."""
        given = self.cleaned_data
        numbers = range(given["first"], given["first"] + given["number"])
        return [_numbered(given["pattern"], number) for number in numbers]

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        named = {name: given[name] for name in ("species", "sire", "dam") if given[name]}
        return named | {"hatched": given["hatched"].isoformat()}


def _numbered(pattern: str, number: int) -> str:
    return re.sub("#+", lambda run: f"{number:0{len(run[0])}d}", pattern)


class SittingForm(TogetherForm):
    """What holds for every check of the sitting; needed once ``checks``, the answers of the rows,
    has any. Whoever could not tell is unsure, and is not asked how sure."""

    sureness = one_of("How sure are you, where you could tell?", texts(SURENESSES))
    field_order = ("told", "held_by", "sureness")

    def __init__(self, *args: Any, checks: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.required = any(checks)
        concluded = [one for one in checks if one and UNDETERMINED not in one]
        self.fields["sureness"].required = bool(concluded)


@dataclass(frozen=True, slots=True)
class CommonFacts:
    """What the facts about each of the young share: when the grid was made, what they are said to
    be, and how those checked were."""

    at: str
    particulars: Mapping[str, Any]
    sitting: Mapping[str, Any]


class YoungForm(FactForm):
    """One of the young. ``ids``: its own and those of its facts, made with the grid. A row with
    nothing left in it registers nothing."""

    kind = "animal_registered"
    id = None  # type: ignore[assignment]  # see ids
    at = None  # type: ignore[assignment]  # the same for all
    places = {  # noqa: RUF012  a mapping nobody writes to
        "/body/identified/code": "code",
        **{f"/body/traits/{number}": "traits" for number in range(MOST)},
    }

    ids = forms.CharField(widget=forms.HiddenInput)
    code = forms.CharField(label="Code", required=False, max_length=60)
    name = forms.CharField(label="Name", required=False, max_length=80)
    grams = WeightField(required=False)
    traits = forms.CharField(label="Traits", required=False, max_length=400)
    check = forms.ChoiceField(label="Everted", required=False, choices=CHECKS)

    def __init__(self, *args: Any, shared: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shared = shared
        for name in ("code", "name", "traits"):
            self.fields[name].widget.attrs["autocomplete"] = "off"

    @property
    def animal(self) -> UUID:
        return UUID(self.cleaned_data["ids"].split()[0])

    @property
    def left_out(self) -> bool:
        """Whether nothing is said of it: neither code, name, weight nor check, nor other traits."""
        given = self.cleaned_data
        typed = [given.get(name) for name in ("code", "name", "grams", "check")]
        return typed == ["", "", None, ""] and given.get("traits") in ("", self.shared)

    def clean_ids(self) -> str:
        ids = str(self.cleaned_data["ids"])
        try:
            whole = len([UUID(one) for one in ids.split()]) == len(IDS)
        except ValueError:
            whole = False
        if not whole:
            raise forms.ValidationError("The form came back incomplete; please start again.")
        return ids

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if not (self.errors or given["code"] or self.left_out):
            self.add_error("code", "Give it a code, or empty the row to leave it out.")
        return given

    def items(self, common: CommonFacts) -> list[Item]:
        """All that is said of it, in the order it must be taken."""
        given = self.cleaned_data
        animal, *ids = given["ids"].split()
        stated = {
            "animal_registered": {**common.particulars, "traits": traits_in(given["traits"])},
            "identifier_assigned": {"scheme": "tag", "code": given["code"]},
        }
        if given["grams"] is not None:
            weight = {"type": "weight", "grams": f"{given['grams'].normalize():f}"}
            stated["husbandry_noted"] = {"noted": weight}
        if given["check"]:
            stated["call_made"] = self._call(common.sitting)
        about = {"at": common.at, "about": animal, "texts": {}}
        named = dict(zip(IDS[1:], ids, strict=True))
        return [
            {"id": named[kind], "kind": kind, "body": body, **about}
            for kind, body in stated.items()
        ]

    def _call(self, sitting: Mapping[str, Any]) -> dict[str, Any]:
        seen, conclusion = self.cleaned_data["check"].split()
        body = {
            "conclusion": conclusion,
            "sureness": "unsure" if conclusion == UNDETERMINED else sitting["sureness"],
            "observed": {"method": "eversion", "manner": "manual", "seen": seen},
            "identified": {"by": "tag", "code": self.cleaned_data["code"]},
            "held_by": sitting["held_by"],
        }
        return body if sitting["told"] == "no" else body | {"told": sitting["told"]}


IDS: Final = (
    "animal",
    "animal_registered",
    "identifier_assigned",
    "husbandry_noted",
    "call_made",
)
"""What the ids of a row stand for, in order."""


if TYPE_CHECKING:
    Rows = forms.BaseFormSet[YoungForm]
else:
    Rows = forms.BaseFormSet


class YoungForms(Rows):
    """The grid. ``taken``: codes that other animals of the keeper's bear."""

    taken: frozenset[str] = frozenset()

    @property
    def kept(self) -> list[YoungForm]:
        """The rows that say something."""
        return [row for row in self.forms if not row.left_out]

    def clean(self) -> None:
        seen: set[str] = set()
        for row in self.forms:
            code = row.cleaned_data.get("code")
            if code and code in seen:
                row.add_error("code", f"{code} stands in another row too.")
            elif code and code in self.taken:
                row.add_error("code", f"{code} is the code of another of your animals.")
            seen.add(code or "")


Grid = cast(
    type[YoungForms],
    forms.formset_factory(
        YoungForm, YoungForms, extra=0, max_num=MOST, absolute_max=MOST, validate_max=True
    ),
)


def empty_rows(codes: Sequence[str], shared: str) -> list[dict[str, str]]:
    """What stands in the grid before anything is typed, with ids that stay."""
    return [
        {"ids": " ".join(new_id() for _ in IDS), "code": code, "traits": shared} for code in codes
    ]
