"""The form by which somebody states a trait of an animal, and the button that takes it back."""

from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django import forms

from scalewitness.domain.genetics.stated import BASES_IN_WORDS, SAYS_IN_WORDS
from scalewitness.domain.genetics.stated_words import trait_in_words
from scalewitness.domain.genetics.traits import WILD, Locus, loci_of
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import TEXT_LIMIT, FactForm, StepForm, note

OWN_WORDS: Final = ""
"""The trait is not in the sheet of the species."""
SAYS: Final = tuple((key, f"It {words} …") for key, words in SAYS_IN_WORDS.items())
BASES: Final = tuple((key, words.capitalize()) for key, words in BASES_IN_WORDS.items())


class TraitForm(FactForm):
    """About an animal of a ``species``: one of its known traits, or one in words."""

    kind = "trait_stated"
    places = {  # noqa: RUF012  a mapping nobody writes to
        "/body/says": "stated",
        "/body/locus": "trait",
        "/body/allele": "trait",
        "/texts/laboratory": "laboratory",
    }

    stated = one_of("What do you state?", SAYS)
    trait = forms.ChoiceField(
        label="Of which trait?",
        required=False,
        help_text="A trait that is not listed is stated in your own words; nothing is computed "
        "from it.",
    )
    words = forms.CharField(label="In your own words", required=False, max_length=200)
    basis = one_of("How do you know?", BASES)
    chance = forms.DecimalField(
        label="If it may carry it: sold as how many in 100?",
        required=False,
        min_value=0,
        max_value=100,
        decimal_places=2,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
        help_text="Two thirds are sold as 66, one half as 50.",
    )
    laboratory = forms.CharField(
        label="If by a DNA test: which laboratory?", required=False, max_length=TEXT_LIMIT
    )
    sample = forms.CharField(
        label="The number of the sample", required=False, max_length=TEXT_LIMIT
    )
    note = note("Note")

    def __init__(self, *args: Any, species: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = [choice for one in loci_of(species) for choice in _choices(one)]
        self.fields["trait"].choices = [(OWN_WORDS, "In my own words"), *known]  # type: ignore[attr-defined]

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        locus, _, allele = given["trait"].partition("/")
        chance: Decimal | None = given["chance"]
        return {
            "says": given["stated"],
            "basis": given["basis"],
            **({"locus": locus} if locus else {}),
            **({"allele": allele} if allele else {}),
            **({"chance": f"{chance / 100:.6f}"} if chance is not None else {}),
        }

    def texts(self) -> dict[str, str]:
        given = {one: self.cleaned_data[one] for one in ("words", "laboratory", "sample")}
        return super().texts() | {name: text for name, text in given.items() if text}


def _choices(locus: Locus) -> list[tuple[str, str]]:
    """Each allele, and each look that is named otherwise, where there are several."""
    several = len(locus.alleles) > 2 or len(locus.looks) > 2
    if not several:
        return [(locus.key, _named(locus, None))]
    looks = [one.key for one in locus.looks if one.key != WILD]
    named = dict.fromkeys([*locus.alleles[1:], *looks])
    return [(f"{locus.key}/{one}", _named(locus, one)) for one in named]


def _named(locus: Locus, allele: str | None) -> str:
    words = trait_in_words(locus.species, locus.key, allele)
    return words if locus.computed else f"{words} (inheritance unknown: nothing is computed)"


class TraitWithdrawalForm(StepForm):
    """One button beside one's own statement."""

    def __init__(self, stated: UUID, *args: Any, **kwargs: Any) -> None:
        super().__init__("trait_withdrawn", *args, **kwargs)
        self.stated = stated

    def body(self) -> dict[str, Any]:
        return {"stated": str(self.stated)}
