"""The form by which a keeper states how a trait of an animal is inherited with sex."""

from typing import Any

from django import forms

from scalewitness.animals.models import Animal
from scalewitness.domain.sexing.linked_trait import LinkedTrait
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.facts import FactForm, note

SHOWS = (
    ("one_copy", "One copy of it"),
    ("two_copies", "Two copies of it"),
    ("some_copies", "It, in one copy or two"),
    ("nothing", "Nothing of it"),
)
COPIES = (("0", "None"), ("1", "One"), ("2", "Two"))
PHASES = {
    "XY": (
        ("Y", "Beside his Y: it came to him from his sire"),
        ("X", "Beside his X: it came to him from his dam"),
    ),
    "ZW": (
        ("W", "Beside her W: it came to her from her dam"),
        ("Z", "Beside her Z: it came to her from her sire"),
    ),
}
PROVENANCE = (
    ("keepers_speak_of", "What keepers speak of"),
    ("own_clutches", "Counted in clutches of your own"),
    ("study", "A study; name it in the note"),
)


class LinkageForm(FactForm):
    """About an animal whose parents are both on record, and one trait known in its species."""

    kind = "linkage_stated"

    shows = one_of("What does the animal itself show of the trait?", SHOWS)
    sire_copies = one_of("How many copies has its sire?", COPIES)
    dam_copies = one_of("How many copies has its dam?", COPIES)
    beside = forms.ChoiceField(label="", required=False)
    recombination = forms.DecimalField(
        label="In how many of 100 young does the trait change over?",
        min_value=0,
        max_value=50,
        decimal_places=4,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
        help_text="No published figure was at hand; the one filled in is what keepers speak of.",
    )
    provenance = one_of("Where is that number from?", PROVENANCE)
    note = note("Note")

    def __init__(self, *args: Any, animal: Animal, trait: LinkedTrait, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.animal, self.trait = animal, trait
        self.fields["recombination"].initial = f"{100 * trait.r:g}"
        self.fields["provenance"].initial = "keepers_speak_of"
        parent = "sire" if trait.system == "XY" else "dam"
        self.fields["beside"].label = f"If its {parent} has one copy, where does it lie?"
        self.fields["beside"].choices = [  # type: ignore[attr-defined]
            ("", "Not known"),
            *PHASES[trait.system],
        ]

    def body(self) -> dict[str, Any]:
        given = self.cleaned_data
        body = {
            "trait": self.trait.key,
            "shows": given["shows"],
            "sire": str(self.animal.sire),
            "dam": str(self.animal.dam),
            "sire_copies": int(given["sire_copies"]),
            "dam_copies": int(given["dam_copies"]),
            "recombination": f"{given['recombination'] / 100:.6f}",
            "provenance": given["provenance"],
        }
        return body | ({"beside": given["beside"]} if given["beside"] else {})
