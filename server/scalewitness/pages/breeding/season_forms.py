"""The forms of a season: what is wanted and possible, a pairing by hand, and a proposal taken
up."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final
from uuid import UUID

from django import forms

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.domain.genetics.traits import loci_of
from scalewitness.domain.season.outlook import Change
from scalewitness.domain.season.stated import (
    FEMALES_PER_MALE,
    KINSHIP,
    LimitsStated,
    TraitWanted,
    WantStated,
    key_of,
)
from scalewitness.domain.season.values import Chosen
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.parts.facts import FactForm, new_id
from scalewitness.seasons.queries.seasons import SeasonSettings

WANTS: Final = 4
"""Rows of wants on the page (our judgement: more are read by nobody; the API takes any number)."""
KIN: Final = (
    ("", "No matter"),
    ("0.25", "Not closer than full siblings"),
    ("0.125", "Not closer than half siblings"),
    ("0.0625", "Not closer than cousins"),
)
"""Kinship of two animals at most, as Wright's coefficient of their young would be."""
USE: Final = (
    ("on_loan", "Animals on loan"),
    ("for_sale", "Animals in an open sale"),
    ("resting", "Females that had young last season, and animals to be left alone"),
    ("too_young", "Animals below the age they are bred from"),
    ("too_light", "Animals below the weight they are bred from"),
)
CAUTION: Final = (
    ("0", "What it brings on average"),
    ("0.5", "Half that, half a bad season"),
    ("1", "What a bad season brings"),
)


class PlanForm(FactForm):
    """Two animals of the season, by hand."""

    kind = "pairing_planned"

    pairing = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    sire = forms.ChoiceField(label="As the male")
    dam = forms.ChoiceField(label="As the female")

    def __init__(self, *args: Any, animals: Mapping[UUID, Animal], year: int, **more: Any) -> None:
        super().__init__(*args, **more)
        self.year = year
        listed = sorted(((str(pk), title_of(one)) for pk, one in animals.items()), key=_by_title)
        for role in ("sire", "dam"):
            self.fields[role].choices = [("", "Choose"), *listed]  # type: ignore[attr-defined]

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        return {"sire": given["sire"], "dam": given["dam"], "season": self.year}


def _by_title(one: tuple[str, str]) -> tuple[str, str]:
    return one[1].casefold(), one[0]


class Several(forms.Field):
    """Hidden values of one name."""

    widget = forms.MultipleHiddenInput

    def clean(self, value: Any) -> list[tuple[UUID, ...]]:
        try:
            return [tuple(UUID(part) for part in str(one).split("/")) for one in value or ()]
        except ValueError:
            raise forms.ValidationError("This is not what the page sent.") from None


class AcceptForm(FactForm):
    """A proposal: every pairing that it gives up and makes, as facts whose ids the page made.
    ``shown``: the pairings planned when it was read."""

    kind = "pairing_planned"
    also = ("pairing_dropped",)

    drop = Several(required=False)
    add = Several(required=False)
    shown = Several(required=False)

    def items(self, year: int) -> list[dict[str, Any]]:
        """First what is given up. Raises TypeError for what no page sends."""
        given = self.cleaned_data
        dropped = [self._item("pairing_dropped", *one) for one in given["drop"]]
        return dropped + [self._planned(year, *one) for one in given["add"]]

    def _planned(self, year: int, fact: UUID, about: UUID, sire: UUID, dam: UUID) -> dict[str, Any]:
        body = {"sire": str(sire), "dam": str(dam), "season": year}
        return self._item("pairing_planned", fact, about) | {"body": body}

    def _item(self, kind: str, fact: UUID, about: UUID) -> dict[str, Any]:
        at = self.moment()
        return {"id": str(fact), "kind": kind, "at": at, "about": str(about), "body": {}}


def accepting(change: Change, planned: Mapping[Chosen, UUID]) -> AcceptForm:
    """A form that takes it up."""
    return AcceptForm(
        auto_id=False,
        initial={
            "drop": [f"{new_id()}/{planned[one]}" for one in change.dropped if one in planned],
            "add": [f"{new_id()}/{new_id()}/{one.sire}/{one.dam}" for one in change.added],
            "shown": [str(one) for one in planned.values()],
        },
    )


class WantForm(forms.Form):
    """One row: young that show a trait, or two, of a sex, from a parent."""

    first = forms.ChoiceField(label="Showing", required=False)
    second = forms.ChoiceField(label="and", required=False)
    sex = forms.ChoiceField(
        label="Sex",
        required=False,
        choices=(("", "either"), ("male", "males"), ("female", "females")),
    )
    line = forms.ChoiceField(label="A parent", required=False)
    weight = forms.FloatField(label="Worth", required=False, min_value=0.001, max_value=1000)
    most = forms.IntegerField(label="At most", required=False, min_value=1, max_value=10_000)

    def __init__(self, *args: Any, traits: Sequence[Any], line: Sequence[Any], **more: Any) -> None:
        super().__init__(*args, **more)
        for name in ("first", "second"):
            self.fields[name].choices = [("", "anything"), *traits]  # type: ignore[attr-defined]
        self.fields["line"].choices = [("", "any"), *line]  # type: ignore[attr-defined]

    def want(self) -> WantStated | None:
        """None of an empty row."""
        given = self.cleaned_data
        if not any(given.get(name) for name in self.fields):
            return None
        named = [given[name] for name in ("first", "second") if given[name]]
        return WantStated(
            traits=tuple(TraitWanted(*one.split("/", 2)) for one in dict.fromkeys(named)),
            sex=given["sex"] or None,
            line=(given["line"],) if given["line"] else (),
            weight=given["weight"] or 1.0,
            most=given["most"],
        )


def trait_choices(species: Iterable[str]) -> list[tuple[str, str]]:
    """Every look that is computed, of these species."""
    return [
        (f"{key_of(one.species, one.key)}/{look.key}", f"{taxon(one.species).common}: {look.words}")
        for name in sorted(set(species))
        for one in loci_of(name)
        if one.computed
        for look in one.looks
    ]


class LimitsForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
    females_per_male = forms.IntegerField(
        label="Females that a male serves",
        min_value=1,
        max_value=60,
        help_text=f"{FEMALES_PER_MALE} until you say otherwise (common practice, no source).",
    )
    kinship = forms.ChoiceField(
        label="Kinship of the two",
        required=False,
        choices=KIN,
        help_text=f"{dict(KIN)[f'{KINSHIP:g}']} until you say otherwise (our judgement).",
    )
    clutches = forms.IntegerField(
        label="Clutches there is room for", required=False, min_value=1, max_value=10_000
    )
    young = forms.IntegerField(
        label="Young there is room for", required=False, min_value=1, max_value=10_000
    )
    use = forms.MultipleChoiceField(
        label="May be proposed too",
        required=False,
        choices=USE,
        widget=forms.CheckboxSelectMultiple,
    )
    caution = forms.ChoiceField(label="What is aimed at", choices=CAUTION)
    kept = forms.MultipleChoiceField(
        label="Pairings that a proposal leaves alone",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, pairings: Sequence[tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["kept"].choices = pairings  # type: ignore[attr-defined]
        if not pairings:
            del self.fields["kept"]

    def limits(self) -> LimitsStated:
        given = self.cleaned_data
        return LimitsStated(
            females_per_male=given["females_per_male"],
            kinship=float(given["kinship"]) if given["kinship"] else None,
            clutches=given["clutches"],
            young=given["young"],
            use=tuple(given["use"]),
            caution=float(given["caution"]),
        )


def initial_limits(settings: SeasonSettings) -> dict[str, Any]:
    limits = settings.limits
    return {
        "version": settings.version,
        "females_per_male": limits.females_per_male,
        "kinship": "" if limits.kinship is None else f"{limits.kinship:g}",
        "clutches": limits.clutches,
        "young": limits.young,
        "use": list(limits.use),
        "caution": f"{limits.caution:g}",
        "kept": [str(one) for one in settings.kept],
    }


def initial_want(want: WantStated) -> dict[str, Any]:
    shown = [f"{key_of(one.species, one.locus)}/{one.look}" for one in want.traits if one.look]
    named = dict(zip(("first", "second"), shown, strict=False))
    more = {"sex": want.sex, "line": next(iter(want.line), ""), "weight": want.weight}
    return named | more | {"most": want.most}
