"""A trait of an animal, stated by whoever sees it whole."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.animals.about import submit_about
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Fact
from scalewitness.domain.facts import TraitStated


@operation(
    "State a trait of an animal",
    takes=Fact[TraitStated],
    gives=ANSWERS,
    refuses=FACT_REFUSALS,
    keyed=True,
)
def state_trait(request: Request, id: UUID) -> Response:
    """By whoever sees the animal whole. `locus` is a key of its species' sheet of traits; a trait
    that is not in it is stated in `words`, and nothing is computed from it. Texts: `words`,
    `laboratory` and `sample` of a DNA test, `note`."""
    return submit_about(request, "trait_stated", id)
