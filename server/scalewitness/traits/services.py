"""Statements of traits: the writes. Intake calls these, nobody else."""

from uuid import UUID

from scalewitness.domain.facts import ClaimFell, ClaimRestored, TraitStated, TraitWithdrawn
from scalewitness.ledger.services.inserting import Row
from scalewitness.ledger.services.writing import Logged
from scalewitness.traits.models import TraitStatement, TraitWithdrawal


def store_statement(fact: Logged[TraitStated]) -> None:
    body = fact.body
    TraitStatement.objects.create(
        id=fact.id,
        position=fact.position,
        animal_id=fact.about,
        by=fact.sender,
        at=fact.at,
        says=body.says,
        basis=body.basis,
        locus=body.locus or "",
        allele=body.allele or "",
        chance=body.chance or "",
    )


def store_withdrawal(fact: Logged[TraitWithdrawn]) -> None:
    TraitWithdrawal.objects.create(
        id=fact.id,
        position=fact.position,
        statement_id=UUID(fact.body.stated),
        at=fact.at,
    )


def row_of_change(fact: Logged[ClaimFell | ClaimRestored]) -> Row:
    """A sire may have hundreds of young whose claims fall together; to be stored so."""
    body = fact.body
    return {
        "id": fact.id,
        "position": fact.position,
        "statement_id": UUID(body.stated),
        "fell": isinstance(body, ClaimFell),
        "chance": body.chance or "",
        "cause": UUID(body.cause),
    }
