"""What its keeper does next with an animal: the one step that stands out on its page."""

from dataclasses import dataclass

from django.urls import reverse

from scalewitness.domain.consequences import verified_sex
from scalewitness.planning.settling import Settling
from scalewitness.standings.queries.dossier import Dossier


@dataclass(frozen=True, slots=True)
class NextStep:
    """Where it is done, and the words on its button."""

    words: str
    address: str


def next_step(case: Dossier, settles: Settling) -> NextStep | None:
    """For who keeps it. What nobody checked is checked first; of what is not verified a blind look
    is asked for where that would do, else what helps most is weighed; what is verified is cared
    for (our judgement). None: it is no longer there."""
    animal = case.animal
    if animal.ended:
        return None
    if not case.evidence:
        return NextStep("Log a call", reverse("choose_method", args=[animal.pk]))
    if verified_sex(case.assessment.label):
        return NextStep("Note its weight", reverse("husbandry", args=[animal.pk, "weight"]))
    if not settles.blind:
        return NextStep("What would help most", reverse("plan_checks", args=[animal.pk]))
    invite = reverse("invite", args=[animal.collection_id])
    return NextStep("Invite someone to check it blind", f"{invite}?animal={animal.pk}")
