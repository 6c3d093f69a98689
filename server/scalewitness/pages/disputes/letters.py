"""The letters over a dispute: to whom, by their part, and how far each got."""

from collections.abc import Iterable
from typing import Any, Final

from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import letters_for
from scalewitness.pages.disclosures.disclosure import DELIVERY
from scalewitness.sales.models import SaleStep

LETTERS: Final = {
    "disclosure": "Disclosure to a buyer",
    "dispute_opened": "Dispute opened, to a keeper",
    "finding": "The finding, to the buyer",
    "finding_keeper": "The finding, to a keeper",
    "dispute_opened_buyer": "Dispute opened, to a buyer",
    "statement_made_buyer": "Statement in a dispute, to a buyer",
    "statement_made": "Statement in a dispute, to a keeper",
    "report_answered": "Answer to a report, to a keeper",
    "report_answered_buyer": "Answer to a report, to a buyer",
    "photos_compared": "Photos compared, to a keeper",
    "photos_compared_buyer": "Photos compared, to a buyer",
    "recheck_asked": "Contrary call that waits, to a keeper",
    "sale_held": "Hold of a sale, to the buyer",
    "sale_held_seller": "Hold of a sale, to the seller",
    "standing_notice": "Change of standing to a keeper",
    "pairing_affected": "Planned pairing affected, to a keeper",
}


def letters_over(dispute: Dispute) -> list[Letter]:
    """Every letter owed over this matter, in the order owed."""
    animal = dispute.animal
    owed = Disclosure.objects.filter(animal=animal)
    holds = SaleStep.objects.filter(kind="sale_held", body__animal=str(animal.pk))
    finding: Finding | None = getattr(dispute, "finding", None)
    answers = finding.answers.values_list("pk", flat=True) if finding else ()
    causes = {
        dispute.pk,
        *([finding.pk] if finding else []),
        *answers,
        *dispute.statements.values_list("pk", flat=True),
        *owed.values_list("pk", flat=True),
        *animal.standings.values_list("pk", flat=True),
        *holds.values_list("pk", flat=True),
    }
    found = [letter for some in letters_for(causes).values() for letter in some]
    return sorted(found, key=lambda one: one.created_at)


def delivered(letters: Iterable[Letter]) -> list[dict[str, Any]]:
    """By role and state; no address is shown."""
    return [
        {
            "what": LETTERS.get(one.kind, one.kind.replace("_", " ")),
            "state": DELIVERY[one.state],
            "failed": one.undelivered,
            "at": one.sent_at or one.created_at,
        }
        for one in letters
    ]
