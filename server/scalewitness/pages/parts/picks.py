"""Forms in which animals are chosen out of many."""

from collections.abc import Sequence

from django import forms

Choices = Sequence[tuple[str, str]]


class Picks(forms.Form):
    """``picks`` names the fields that choose among animals, one after the other in the form;
    a search that narrows them stands before the first."""

    picks: tuple[str, ...] = ()
    more = False
    wanted = ""
    nothing = False

    def offer(self, choices: Choices, *, more: bool = False, wanted: str = "") -> None:
        """What there is to choose from, and whether a search would find more."""
        for name in self.picks:
            field = self.fields[name]
            none = [] if isinstance(field, forms.MultipleChoiceField) else [("", NOTHING[name])]
            field.choices = [*none, *choices]  # type: ignore[attr-defined]
        self.more, self.wanted, self.nothing = more, wanted, not choices

    @property
    def searched(self) -> bool:
        """Whether there is a search: there are more than can be shown, or one was made."""
        return self.more or bool(self.wanted)

    @property
    def first_pick(self) -> str:
        return self.picks[0] if self.picks else ""

    @property
    def last_pick(self) -> str:
        return self.picks[-1] if self.picks else ""


NOTHING = {"sire": "Not known", "dam": "Not known", "mate": "Choose"}
"""What stands for no choice."""
