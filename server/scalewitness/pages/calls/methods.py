"""One form a method of finding out a snake's sex."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

from django import forms

from scalewitness.domain.observations import PROBE_MM
from scalewitness.pages.calls.forms import EVERTED, MANNERS, CallForm, one_of, yes_or_no
from scalewitness.pages.calls.passes import PassesForm, depth_field, plain, stopped_field


class ProbingForm(PassesForm, CallForm):
    method, title = "probing", "Probing"
    hint = "Depth in subcaudal scales, to the half, each side on its own."

    left = depth_field("Left side: scales deep")
    left_stopped = stopped_field("Left side: how it stopped")
    right = depth_field("Right side: scales deep")
    right_stopped = stopped_field("Right side: how it stopped")
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

    def probe(self) -> forms.BoundField:
        return self["probe_mm"]

    def first(self) -> list[forms.BoundField]:
        return self._shown(self.FIRST)

    def again(self) -> list[forms.BoundField]:
        return self._shown(self.AGAIN)

    def went_again(self) -> bool:
        return any(self[name].value() for name in self.AGAIN)

    def observed(self) -> dict[str, Any]:
        seen: dict[str, Any] = {"method": "probing"}
        if passes := self.passes():
            seen["passes"] = passes
        if self.cleaned_data["probe_mm"] is not None:
            seen["probe_mm"] = plain(self.cleaned_data["probe_mm"])
        return seen


class EversionForm(CallForm):
    method, title = "eversion", "Everting by hand, or seen out"
    hint = "For hatchlings, by someone who has learnt it. Nothing seen says little."
    observed_fields = ("manner", "seen")
    manner = one_of(
        "How did it come about?",
        MANNERS,
    )
    seen = one_of(
        "What did you see?",
        EVERTED,
    )


class UltrasoundForm(CallForm):
    method, title = "ultrasound", "Ultrasound"
    observed_fields = ("seen",)
    seen = one_of(
        "What did you see?",
        (
            ("hemipenes", "Hemipenes"),
            ("testes", "Testes"),
            ("ovaries", "Ovaries"),
            ("follicles", "Egg follicles"),
            ("pockets", "Female pockets"),
            ("unclear", "Unclear"),
        ),
    )


class RadiographyForm(CallForm):
    method, title = "radiography", "X-ray"
    observed_fields = ("contrast", "seen")
    contrast = yes_or_no("With contrast medium?")
    seen = one_of(
        "What did you see?",
        (("hemipenes", "Hemipenes"), ("none", "No hemipenes"), ("unclear", "Unclear")),
    )


class EndoscopyForm(CallForm):
    method, title = "endoscopy", "Endoscopy"
    hint = "Done by a veterinarian; report it as theirs."
    observed_fields = ("seen",)
    seen = one_of(
        "What was seen?", (("testes", "Testes"), ("ovaries", "Ovaries"), ("unclear", "Unclear"))
    )


class DnaForm(CallForm):
    method, title, hands_on = "dna", "DNA test", False
    hint = "Evidence only where the species' sex chromosomes are known and the test fits them."
    observed_fields = ("system", "sample", "found")
    system = one_of(
        "Which sex chromosomes does the test assume?",
        (("XY", "XY: the male has two kinds"), ("ZW", "ZW: the female has two kinds")),
    )
    sample = one_of(
        "What was sampled?",
        (("shed", "Shed skin"), ("blood", "Blood"), ("swab", "Swab"), ("tissue", "Tissue")),
    )
    found = one_of(
        "What did the test show?",
        (
            ("heterogametic", "Two kinds of sex chromosome"),
            ("homogametic", "One kind of sex chromosome"),
            ("failed", "The test failed"),
        ),
    )


class ReproductionForm(CallForm):
    method, title, hands_on = "reproduction", "Eggs or young", False
    hint = "Proves that this animal is female. It proves nothing about a male kept with her."
    observed_fields = ("event", "witnessed", "count")
    event = one_of("What happened?", (("laid_eggs", "Laid eggs"), ("gave_birth", "Gave birth")))
    witnessed = yes_or_no("Did you see it happen?")
    count = forms.IntegerField(label="How many?", required=False, min_value=0, max_value=400)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["conclusion"] = forms.CharField(initial="female", widget=forms.HiddenInput)


class ScaleCountForm(CallForm):
    method, title = "scale_count", "Counting scales"
    observed_fields = ("subcaudals", "ventrals")
    subcaudals = forms.IntegerField(label="Scales under the tail", min_value=0, max_value=400)
    ventrals = forms.IntegerField(label="Belly scales", required=False, min_value=0, max_value=400)


class VisualForm(CallForm):
    method, title, hands_on = "visual", "By its looks", False
    hint = "Weighs little: in many snakes, above all young ones, the sexes look alike."
    observed_fields = ("feature",)
    feature = one_of(
        "What did you go by?",
        (
            ("tail", "The shape of the tail"),
            ("spurs", "The spurs"),
            ("size", "The size"),
            ("slough_plugs", "Plugs on the shed skin"),
            ("other", "Something else"),
        ),
    )


class StatementForm(CallForm):
    method, title, hands_on = "statement", "What someone said", False
    hint = "Not a check. It counts for little, and repeating it adds little."
    observed_fields = ("source",)
    source = one_of(
        "Who said so?",
        (
            ("seller", "The seller I had it from"),
            ("earlier_keeper", "An earlier keeper"),
            ("papers", "Papers that came with it"),
        ),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("reported_role", "reported_name"):
            self.fields.pop(name, None)


FORMS: Final[Mapping[str, type[CallForm]]] = MappingProxyType(
    {
        form.method: form
        for form in (
            ProbingForm,
            EversionForm,
            UltrasoundForm,
            RadiographyForm,
            EndoscopyForm,
            DnaForm,
            ReproductionForm,
            ScaleCountForm,
            VisualForm,
            StatementForm,
        )
    }
)
