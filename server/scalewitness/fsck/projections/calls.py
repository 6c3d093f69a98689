"""Calls, and what becomes of them."""

from typing import Any
from uuid import UUID

from scalewitness.calls.models import (
    Attestation,
    Call,
    HeldDecision,
    Objection,
    PhotoComparison,
    Seal,
    Withdrawal,
)
from scalewitness.domain.photos_compared import after_comparisons
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, id_of, row_of_fact
from scalewitness.fsck.reading import LoggedFact


def call_made(fact: LoggedFact, past: Past) -> Rows:
    body, known = fact.body, past.circumstance(fact)
    yield Row(
        Call,
        row_of_fact(
            fact,
            animal_id=fact.about,
            by=fact.by,
            examiner=UUID(body.reported.who) if body.reported else fact.by,
            role=body.reported.role if body.reported else "keeper",
            method=fact.raw["observed"]["method"],
            conclusion=body.conclusion,
            examined_at=fact.at,
            received_at=fact.received_at,
            visit=id_of(body.visit),
            stage=known.stage,
            identity=known.identity,
            blind=known.blind,
            interested=known.interested,
            anchored_to=known.anchored_to,
            footing=known.footing or "",
            waits=known.waits,
            one_with=known.one_with or "",
            flags=list(fact.flags),
            body=fact.raw,
            refiles_id=None,
        ),
    )


def call_refiled(fact: LoggedFact, past: Past) -> Rows:
    """The row of the call it speaks of, with what is another's now."""
    made = past.call(fact.body.call)
    known = past.circumstance(fact)
    for row in call_made(made, past):
        own = {"animal_id": fact.about, "by": fact.by, "received_at": fact.received_at}
        about = {"identity": known.identity, "stage": known.stage, "blind": known.blind}
        knew = {"interested": known.interested, "anchored_to": known.anchored_to}
        spoke: Any = {"footing": known.footing or "", "waits": known.waits}
        spoke["one_with"] = known.one_with or ""
        apart: Any = {"visit": None, "flags": [], "refiles_id": made.id}
        again = {**row.values, **own, **about, **knew, **spoke, **apart}
        yield Row(Call, {**again, **row_of_fact(fact)})


def call_withdrawn(fact: LoggedFact, past: Past) -> Rows:
    yield Row(Withdrawal, row_of_fact(fact, call_id=UUID(fact.body.call), at=fact.at))


def call_objected(fact: LoggedFact, past: Past) -> Rows:
    more = {"by": fact.by, "ground": fact.body.ground, "at": fact.at}
    yield Row(Objection, row_of_fact(fact, call_id=UUID(fact.body.call), **more))


def report_attested(fact: LoggedFact, past: Past) -> Rows:
    call, answer = fact.body.call, fact.raw.get("answer")
    more = {"by": fact.by, "kind": fact.kind, "answer": answer, "at": fact.at}
    more["young"] = id_of(fact.raw.get("young"))
    stands = past.report(fact)
    more |= {"report": stands.report, "footing": stands.footing or ""}
    yield Row(Attestation, row_of_fact(fact, call_id=UUID(call), **more))


def photos_compared(fact: LoggedFact, past: Past) -> Rows:
    body, answers = fact.body, past.comparisons(fact)
    stands = after_comparisons(answers.items())
    shown = {"photo": UUID(body.photo), "earlier": UUID(body.earlier)}
    more = {"by": fact.by, "answer": body.answer, "at": fact.at, "stands": stands}
    yield Row(PhotoComparison, row_of_fact(fact, call_id=UUID(body.call), **shown, **more))


def call_held(fact: LoggedFact, past: Past) -> Rows:
    yield Row(Seal, {"held_id": UUID(fact.body.held), "position": fact.position})


def late_call_decided(fact: LoggedFact, past: Past) -> Rows:
    held, admitted = UUID(fact.body.held), fact.body.admitted
    yield Row(HeldDecision, {"held_id": held, "position": fact.position, "admitted": admitted})
