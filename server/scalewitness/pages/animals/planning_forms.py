"""A call nobody has made: what a keeper asks about, not what they say."""

from typing import Any, ClassVar

from django import forms
from django.http import QueryDict

from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Conclusion
from scalewitness.domain.sexing.feasible import PLANNED
from scalewitness.planning.available import (
    PARTIES,
    SUPPOSED_PRICES,
    Examiners,
    Party,
    Prices,
)
from scalewitness.planning.supposing import SupposedAnswer

WHO = (
    ("blind", "An independent keeper who knows no earlier answer"),
    ("knowing", "An independent keeper who knows the record"),
    ("mine", "I, once more"),
    ("veterinarian", "A veterinarian, reported"),
    ("laboratory", "A laboratory, reported"),
    ("veterinarian-confirmed", "A veterinarian, reported, and they confirm it"),
    ("laboratory-confirmed", "A laboratory, reported, and they confirm it"),
)
SAYS: tuple[tuple[Conclusion, str], ...] = (
    ("female", "If it says female"),
    ("undetermined", "If it cannot tell"),
    ("male", "If it says male"),
)
"""In the order of the sign: female on the left, male on the right."""


class SupposeForm(forms.Form):
    """Sent by GET: an address to come back to, and nothing recorded."""

    method = forms.ChoiceField(
        label="Which check?", choices=[(one, METHODS[one].name) for one in PLANNED]
    )
    who = forms.ChoiceField(label="By whom?", choices=WHO)

    def __init__(self, asked: QueryDict) -> None:
        """Where nothing was ``asked``, a blind probing by somebody else."""
        super().__init__({"method": "probing", "who": "blind"} | asked.dict())

    def supposed(self, says: Conclusion) -> SupposedAnswer:
        """The call asked about, once the form is valid, if it ``says`` so."""
        given = self.cleaned_data
        who, _, confirmed = given["who"].partition("-")
        return SupposedAnswer(
            method=given["method"],
            conclusion=says,
            role=who if who in {"veterinarian", "laboratory"} else "keeper",
            blind=who != "knowing",
            mine=who == "mine",
            confirmed=bool(confirmed),
        )


def _money(label: str, least: int = 0) -> forms.IntegerField:
    return forms.IntegerField(label=label, min_value=least, max_value=10**9)


class ComingForm(forms.Form):
    """Who comes and what checks cost. Sent by GET: what is entered stays in the address."""

    by = forms.MultipleChoiceField(label="Who can examine?", widget=forms.CheckboxSelectMultiple)
    owner = _money("One check by you or a partner")
    guest = _money("One check by another keeper")
    veterinarian = _money("One check by a veterinarian")
    laboratory = _money("One test by a laboratory")
    wrong_sex = _money("What a wrong sex costs you", least=1)
    currency = forms.CharField(label="Currency", max_length=12, required=False)

    def __init__(self, asked: QueryDict, who: Examiners) -> None:
        """``who`` could come; where nothing was ``asked`` stands what is supposed."""
        given: dict[str, Any] = self.start | {"wrong_sex": round(SUPPOSED_PRICES.wrong_sex)}
        given |= {party: round(price) for party, price in SUPPOSED_PRICES.by.items()}
        super().__init__(given | asked.dict() | {"by": asked.getlist("by") or who.expected})
        self.fields["by"].choices = list(who.names.items())  # type: ignore[attr-defined]

    start: ClassVar[dict[str, Any]] = {}

    @property
    def people(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if field.name not in _PRICED]

    @property
    def money(self) -> list[forms.BoundField]:
        return [self[name] for name in _PRICED]

    @property
    def money_is_wrong(self) -> bool:
        return bool(set(_PRICED) & set(self.errors))

    def prices(self) -> Prices:
        """What was entered, once the form is valid."""
        given = self.cleaned_data
        return Prices({party: given[party] for party in PARTIES}, given["wrong_sex"])

    def of(self, party: Party) -> str:
        """The price of one check as it is said; empty where it costs nothing."""
        price = self.cleaned_data[party]
        return f"{price} {self.cleaned_data['currency']}".strip() if price else ""


_PRICED = (*PARTIES, "wrong_sex", "currency")


class VisitPlanForm(ComingForm):
    """And for how long."""

    minutes = forms.IntegerField(
        label="How many minutes are there?", min_value=1, max_value=1440, initial=120
    )
    field_order = ("minutes",)
    start: ClassVar[dict[str, Any]] = {"minutes": 120}
