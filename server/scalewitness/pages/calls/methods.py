"""One form a method of finding out a snake's sex."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType, new_class
from typing import Any, Final, cast

from django import forms

from scalewitness.domain.choices import STOPS, briefs
from scalewitness.domain.methods import METHODS, Question
from scalewitness.domain.observations import MARKER, PROBE_MM, PROVED_BY
from scalewitness.pages.calls.forms import CallForm, FieldGroup, one_of, yes_or_no
from scalewitness.pages.calls.passes import PassesForm, depth_field, plain, stopped_field

OF_A_MARKER: Final = "At most 40 letters, digits, spaces, points, dashes and strokes."


class ProbingForm(PassesForm, CallForm):
    left = depth_field("Left side: scales deep")
    left_stopped = one_of("Left side: how it stopped", briefs(STOPS), required=False)
    right = depth_field("Right side: scales deep")
    right_stopped = one_of("Right side: how it stopped", briefs(STOPS), required=False)
    left_again = depth_field("Left side again: scales deep")
    left_again_stopped = stopped_field("Left side again: how it stopped")
    right_again = depth_field("Right side again: scales deep")
    right_again_stopped = stopped_field("Right side again: how it stopped")
    probe_mm = forms.DecimalField(
        label="Probe thickness in mm",
        required=False,
        min_value=PROBE_MM[0],
        max_value=PROBE_MM[1],
        decimal_places=2,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.1"}),
    )

    FIRST = ("left", "left_stopped", "right", "right_stopped")
    AGAIN = ("left_again", "left_again_stopped", "right_again", "right_again_stopped")
    runs = ("left", "right", "left_again", "right_again")

    def seen(self) -> Iterable[FieldGroup]:
        """One side after the other, then what is seldom noted."""
        asked = ("unusual",) if self.asks_again() else ()
        yield FieldGroup("Left, then right", self._shown((*self.FIRST, *asked)))
        yield FieldGroup(
            "A second pass, the probe", self._shown((*self.AGAIN, "probe_mm")), folded=True
        )

    def observed(self) -> dict[str, Any]:
        seen: dict[str, Any] = {"method": "probing", **self.insisted()}
        if passes := self.passes():
            seen["passes"] = passes
        if self.cleaned_data["probe_mm"] is not None:
            seen["probe_mm"] = plain(self.cleaned_data["probe_mm"])
        return seen


class ReproductionForm(CallForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["conclusion"] = forms.CharField(initial="female", widget=forms.HiddenInput)


class ParentageForm(CallForm):
    """What the test showed says what it comes down to, and whose it is."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["conclusion"], self.fields["sureness"]
        if "reported_role" in self.fields:
            whose = forms.CharField(initial="laboratory", widget=forms.HiddenInput)
            self.fields["reported_role"] = whose
            self.fields["reported_name"].label = "The laboratory's name"
            self.fields["reported_name"].required = True

    def body(self) -> dict[str, Any]:
        proved = PROVED_BY.get(self.cleaned_data["found"])
        self.cleaned_data["conclusion"] = proved or "undetermined"
        self.cleaned_data["sureness"] = "certain" if proved else "fairly_sure"
        return super().body()


class HearsayForm(CallForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("practitioner_id", "reported_role", "reported_name"):
            self.fields.pop(name, None)


def field(question: Question) -> forms.Field:
    """What asks a question on a page."""
    about: dict[str, Any] = {"label": question.text, "required": question.needed}
    if question.answers == "count":
        least, most = question.between
        return forms.IntegerField(**about, min_value=least, max_value=most)
    if question.answers == "text":
        return forms.RegexField(MARKER, **about, error_messages={"invalid": OF_A_MARKER})
    if question.answers == "yes_or_no":
        return yes_or_no(question.text)
    return one_of(question.text, briefs(question.answers))


def form(method: str) -> type[CallForm]:
    """The form for a call by this method, with a field for each thing it asks."""
    base = OF_THEIR_OWN.get(method, CallForm)
    fields = {one.name: field(one) for one in METHODS[method].asks}
    members = {"method": method, "observed_fields": tuple(fields), **fields}
    made = new_class(f"{base.__name__}_{method}", (base,), exec_body=lambda of: of.update(members))
    return cast("type[CallForm]", made)


OF_THEIR_OWN: Final[Mapping[str, type[CallForm]]] = {
    "probing": ProbingForm,
    "reproduction": ReproductionForm,
    "parentage": ParentageForm,
    "statement": HearsayForm,
}
FORMS: Final[Mapping[str, type[CallForm]]] = MappingProxyType(
    {method: form(method) for method in METHODS}
)
