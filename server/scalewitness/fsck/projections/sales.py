"""Sales, disclosures and disputes."""

from uuid import UUID

from scalewitness.calls.models import SetAside
from scalewitness.disclosures.models import Acknowledgement, Disclosure
from scalewitness.disputes.models import Dispute, Finding, FindingAnswer, Statement
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, id_of, row_of_fact, row_of_thing
from scalewitness.fsck.reading import LoggedFact
from scalewitness.sales.models import Sale, SaleAnimal, SaleStep


def sale_step(fact: LoggedFact, past: Past) -> Rows:
    more = {"kind": fact.kind, "by": fact.by, "at": fact.received_at, "body": fact.raw}
    yield Row(SaleStep, row_of_fact(fact, sale_id=fact.about, **more))


def offer_made(fact: LoggedFact, past: Past) -> Rows:
    """The draft itself is no fact; its parties and animals are those that were offered."""
    body = fact.body
    yield from sale_step(fact, past)
    parties = {"collection_id": UUID(body.collection), "buyer_id": UUID(body.buyer)}
    yield Row(Sale, {"id": fact.about, **parties})
    for one in body.represents:
        yield Row(SaleAnimal, {"sale_id": fact.about, "animal_id": UUID(one.animal)})


def disclosure_owed(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    yield Row(
        Disclosure,
        row_of_thing(
            fact,
            sale_id=UUID(body.sale),
            animal_id=UUID(body.animal),
            to_id=UUID(body.to),
            cause=UUID(body.cause),
            change=body.change,
            was=fact.raw["was"],
            now=fact.raw["now"],
            claim=id_of(body.claim.stated) if body.claim else None,
            chance=(body.claim.chance or "") if body.claim else "",
            owed_at=fact.received_at,
        ),
    )


def disclosure_acknowledged(fact: LoggedFact, past: Past) -> Rows:
    read = {"disclosure_id": fact.about, "position": fact.position, "at": fact.received_at}
    yield Row(Acknowledgement, read)


def dispute_opened(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    yield Row(
        Dispute,
        row_of_thing(
            fact,
            animal_id=UUID(body.animal),
            sale_id=id_of(body.sale),
            ground=body.ground,
            cause=id_of(body.cause),
            by=fact.by,
            opened_at=fact.received_at,
        ),
    )


def statement_made(fact: LoggedFact, past: Past) -> Rows:
    yield Row(Statement, row_of_fact(fact, dispute_id=fact.about, by=fact.by, at=fact.received_at))


def finding_recorded(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    found = {"outcome": body.outcome, "remedy": body.remedy, "set_aside": list(body.set_aside)}
    found |= {"basis": body.basis or "", "document": body.document or ""}
    found |= {"proposed": list(body.proposed), "arbiter": id_of(body.arbiter)}
    yield Row(
        Finding, row_of_fact(fact, dispute_id=fact.about, by=fact.by, at=fact.received_at, **found)
    )
    for call in body.set_aside:
        aside = {"call_id": UUID(call), "finding": fact.id, "position": fact.position}
        yield Row(SetAside, aside)


def finding_answered(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    finding, aside = UUID(body.finding), list(body.set_aside)
    stated = {"agrees": body.agrees, "set_aside": aside, "by": fact.by, "at": fact.received_at}
    yield Row(FindingAnswer, row_of_fact(fact, finding_id=finding, **stated))
    for call in aside:
        gone = {"call_id": UUID(call), "finding": finding, "position": fact.position}
        yield Row(SetAside, gone)
