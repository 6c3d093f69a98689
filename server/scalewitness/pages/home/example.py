"""An example animal that anybody can look at: made up, in no log, worked out by the released
numbers and shown by the templates of any animal."""

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache, cached_property
from typing import Any, Final

from django.http import HttpRequest, HttpResponse

from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Conclusion, Pass, Probing
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.explain import ReasonLine, explain
from scalewitness.domain.sexing.sensitivity import Sensitivity, in_words
from scalewitness.domain.sexing.standing import Assessment
from scalewitness.domain.sexing.stated_linkage import EVEN
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.animals.evidence import FOOTING, IDENTITY
from scalewitness.pages.parts.access import page
from scalewitness.pages.plots.axis import letter
from scalewitness.pages.plots.course import Turn, course
from scalewitness.pages.plots.depths import Probed, depths
from scalewitness.standings.queries.assessing import Yardstick, assess_animal, sensitivity_by

SPECIES: Final = "python_regius"
HATCHED: Final = "2 July 2022"


@dataclass(frozen=True, slots=True)
class ExampleCheck:
    """One of the example's checks: a probing of both sides, in subcaudal scales."""

    who: str
    day: datetime
    left: str
    right: str
    footing: str
    blind: bool = True
    interested: bool = False
    note: str = ""
    conclusion: Conclusion = "female"


CHECKS: Final = (
    ExampleCheck(
        "Ada Quennell, who keeps her",
        datetime(2025, 9, 6, 10, 20, tzinfo=UTC),
        "3",
        "2.5",
        "record",
        blind=False,
        interested=True,
        note="Calm, well before a meal.",
    ),
    ExampleCheck(
        "Bruno Haske, a guest", datetime(2026, 3, 14, 15, 5, tzinfo=UTC), "2.5", "3", "vouched"
    ),
    ExampleCheck(
        "Ceri Moorland, a guest", datetime(2026, 5, 9, 11, 40, tzinfo=UTC), "3", "3", "record"
    ),
)


@dataclass(frozen=True)
class ExampleCase:
    """What a `Dossier` is to the templates."""

    by: Yardstick
    evidence: list[Evidence]
    assessment: Assessment
    standing: None = None

    @cached_property
    def sensitivity(self) -> Sensitivity:
        return sensitivity_by(self.by, taxon(SPECIES), self.evidence, EVEN)

    @cached_property
    def lines(self) -> tuple[ReasonLine, ...]:
        return explain(self.assessment, self.evidence, taxon(SPECIES), self.sensitivity)

    def of_kind(self, kind: str) -> list[ReasonLine]:
        return [line for line in self.lines if line.kind == kind]


def show_example(request: HttpRequest) -> HttpResponse:
    return page(request, "home/example.html", _shown())


@cache
def _shown() -> dict[str, Any]:
    """It never changes while this version runs."""
    by, evidence = Yardstick(), [_evidence(n, one) for n, one in enumerate(CHECKS)]
    case = ExampleCase(by, evidence, assess_animal(SPECIES, evidence, by))
    texts = [line.text for line in case.of_kind("call")]
    probed = [Probed(letter(n), _passes(one), "counts") for n, one in enumerate(CHECKS)]
    return {
        "case": case,
        "taxon": taxon(SPECIES),
        "hatched": HATCHED,
        "answer": case.of_kind("answer"),
        "reasons": case.of_kind("reason"),
        "cautions": case.of_kind("caution"),
        "sensitivity": in_words(case.sensitivity),
        "numbers": True,
        "calls": [_call(n, one, texts[n]) for n, one in enumerate(CHECKS)],
        "depths": depths(probed, taxon(SPECIES), "example"),
        "course": course(
            _turns(evidence, by), probable=by.policy.probable, verified=by.policy.verified
        ),
    }


def _passes(one: ExampleCheck) -> tuple[Pass, ...]:
    return (
        Pass(side="left", depth=one.left, stopped="resistance"),
        Pass(side="right", depth=one.right, stopped="resistance"),
    )


def _evidence(number: int, one: ExampleCheck) -> Evidence:
    return Evidence(
        call=letter(number),
        examiner=one.who,
        role="keeper",
        at=round(one.day.timestamp() * 1000),
        position=number,
        stage="adult",
        conclusion=one.conclusion,
        sureness="certain",
        observed=Probing(passes=_passes(one)),
        identity="confirmed",
        blind=one.blind,
        interested=one.interested,
    )


def _turns(evidence: list[Evidence], by: Yardstick) -> list[Turn]:
    found = []
    for n in range(len(evidence)):
        after = assess_animal(SPECIES, evidence[: n + 1], by)
        found.append(Turn(letter(n), f"Call {letter(n)}", after.p_male, after.label))
    return found


def _call(number: int, one: ExampleCheck, text: str) -> dict[str, Any]:
    """What the line of a call is made from."""
    return {
        "key": letter(number),
        "who": one.who,
        "method": METHODS["probing"].name,
        "text": text,
        "state": "counts",
        "identity": IDENTITY["confirmed"],
        "footing": FOOTING[one.footing],
        "signed": "Signed on the examiner's device.",
        "call": {
            "conclusion": one.conclusion,
            "blind": one.blind,
            "examined_at": one.day,
            "by": "nobody",
        },
        "note": one.note,
    }
