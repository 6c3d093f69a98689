"""Fields in which a few are chosen out of many: a search, those chosen, and a short list."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Protocol

from django import forms
from django.utils.html import format_html

SHOWN = 12
"""Offered at a time beside those chosen (our judgement: more are searched, not read)."""
LIKELY = 6
"""Where one is chosen, and nothing was searched for yet: so that the form stays a form."""


@dataclass(frozen=True, slots=True)
class Pick:
    """One to choose: what it is called, and what tells it from others of that name."""

    value: str
    title: str
    fine: str = ""

    def words(self) -> str:
        if not self.fine:
            return self.title
        return format_html('<span>{} <span class="fine">{}</span></span>', self.title, self.fine)


class Source(Protocol):
    """What there is to choose from."""

    @property
    def found_by(self) -> str:
        """What the search goes by, in words."""
        ...

    @property
    def narrows(self) -> bool:
        """Whether what is offered follows from what else stands in the form."""
        ...

    def found(self, text: str, but: Sequence[str], most: int) -> Sequence[Pick]:
        """Those with the text, or the likeliest where it is empty, ``but`` for some."""
        ...

    def named(self, values: Sequence[str]) -> Sequence[Pick]:
        """Those of the values that may be chosen."""
        ...


class Picked(forms.ChoiceField):
    """Base of both. ``nothing``: what stands for no choice; empty: one must be made."""

    default_error_messages: ClassVar[dict[str, Any]] = {
        "invalid_choice": "What was chosen cannot be chosen here, or no longer."
    }
    is_picked = True
    several = False
    nothing = ""
    found_by, text, more, searched, none = "", "", False, False, False

    def offer(self, source: Source, values: Iterable[object], text: str = "") -> None:
        """Those chosen already, and the first that the text finds."""
        chosen = source.named([str(one) for one in values if one])
        most = SHOWN if text or self.several else LIKELY
        found = source.found(text, [one.value for one in chosen], most + 1)
        listed = [(one.value, one.words()) for one in (*chosen, *found[:most])]
        self.choices = [("", self.nothing), *listed] if self.nothing else listed
        self.found_by, self.text = source.found_by, text
        self.more, self.none = len(found) > most, bool(text) and not found
        self.searched = self.more or bool(text) or source.narrows


class PickOne(Picked):
    """One of many."""

    widget = forms.RadioSelect

    def __init__(self, *, nothing: str = "", **more: Any) -> None:
        super().__init__(**more)
        self.nothing = nothing


class PickSome(Picked, forms.MultipleChoiceField):
    """Several of many."""

    default_error_messages = Picked.default_error_messages
    widget = forms.CheckboxSelectMultiple
    several = True


class Picks(forms.Form):
    """A form with such fields."""

    @property
    def picks(self) -> dict[str, Picked]:
        return {name: field for name, field in self.fields.items() if isinstance(field, Picked)}

    @property
    def searched(self) -> bool:
        """Whether any has more than it shows."""
        return any(field.searched for field in self.picks.values())
