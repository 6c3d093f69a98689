"""What was stated of traits, and taken back."""

from uuid import UUID

from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, row_of_fact
from scalewitness.fsck.reading import LoggedFact
from scalewitness.traits.models import ClaimChange, TraitStatement, TraitWithdrawal


def trait_stated(fact: LoggedFact, past: Past) -> Rows:
    body = fact.raw
    more = {name: body.get(name, "") for name in ("says", "basis", "locus", "allele", "chance")}
    more |= {"by": fact.by, "at": fact.at}
    yield Row(TraitStatement, row_of_fact(fact, animal_id=fact.about, **more))


def trait_withdrawn(fact: LoggedFact, past: Past) -> Rows:
    statement = UUID(fact.body.stated)
    yield Row(TraitWithdrawal, row_of_fact(fact, statement_id=statement, at=fact.at))


def claim_fell(fact: LoggedFact, past: Past) -> Rows:
    yield _changed(fact, fell=True)


def claim_restored(fact: LoggedFact, past: Past) -> Rows:
    yield _changed(fact, fell=False)


def _changed(fact: LoggedFact, *, fell: bool) -> Row:
    body = fact.raw
    of = {"statement_id": UUID(body["stated"]), "cause": UUID(body["cause"])}
    chance = body.get("chance", "")
    return Row(ClaimChange, row_of_fact(fact, fell=fell, chance=chance, **of))
