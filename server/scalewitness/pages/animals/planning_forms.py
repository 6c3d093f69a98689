"""A call nobody has made: what a keeper asks about, not what they say."""

from django import forms

from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.feasible import PLANNED
from scalewitness.pages.calls.forms import one_of
from scalewitness.planning.supposing import SupposedAnswer

WHO = (
    ("blind", "An independent keeper who knows no earlier answer"),
    ("knowing", "An independent keeper who knows the record"),
    ("mine", "I, once more"),
    ("veterinarian", "A veterinarian, reported"),
    ("laboratory", "A laboratory, reported"),
)
SAYS = (("male", "Male"), ("female", "Female"), ("undetermined", "It cannot be told"))


class SupposeForm(forms.Form):
    """Sent by GET: an address to come back to, and nothing recorded."""

    method = one_of("Which check?", [(one, METHODS[one].name) for one in PLANNED])
    who = one_of("By whom?", WHO)
    says = one_of("What would it say?", SAYS)

    def supposed(self) -> SupposedAnswer:
        """The call asked about, once the form is valid."""
        given = self.cleaned_data
        who = given["who"]
        return SupposedAnswer(
            method=given["method"],
            conclusion=given["says"],
            role=who if who in {"veterinarian", "laboratory"} else "keeper",
            blind=who != "knowing",
            mine=who == "mine",
        )


class VisitPlanForm(forms.Form):
    """Who comes and for how long; ``by`` among the examiners there are."""

    minutes = forms.IntegerField(
        label="How many minutes are there?", min_value=1, max_value=1440, initial=120
    )
    by = forms.ChoiceField(label="Who comes?")

    def __init__(self, *args: object, examiners: list[tuple[str, str]], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["by"].choices = examiners  # type: ignore[attr-defined]
