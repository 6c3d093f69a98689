"""Pairings: the writes. Intake calls these, nobody else."""

from datetime import datetime
from uuid import UUID

import msgspec
from django.db import transaction

from scalewitness.breeding.models import (
    AffectedPlan,
    CalendarLink,
    Pairing,
    PairingAgreement,
    PairingEnd,
    SeasonNote,
    SeasonNoteEnd,
)
from scalewitness.domain.facts import (
    PairingAgreed,
    PairingDropped,
    PairingPlanned,
    PlanAffected,
    SeasonNoted,
    SeasonNoteWithdrawn,
)
from scalewitness.domain.season.events import COUNTED
from scalewitness.ledger.services.writing import Logged


def store_pairing(fact: Logged[PairingPlanned]) -> None:
    Pairing.objects.create(
        id=fact.about,
        position=fact.position,
        sire_id=UUID(fact.body.sire),
        dam_id=UUID(fact.body.dam),
        season=fact.body.season,
        by=fact.sender,
        at=fact.received_at,
    )


def store_end(fact: Logged[PairingDropped]) -> None:
    PairingEnd.objects.create(
        id=fact.id,
        position=fact.position,
        pairing_id=fact.about,
        by=fact.sender,
        at=fact.received_at,
    )


def store_agreement(fact: Logged[PairingAgreed]) -> None:
    PairingAgreement.objects.create(
        id=fact.id,
        position=fact.position,
        pairing_id=fact.about,
        by=fact.sender,
        at=fact.received_at,
    )


def store_affected_plan(fact: Logged[PlanAffected]) -> None:
    body = fact.body
    AffectedPlan.objects.create(
        id=fact.id,
        position=fact.position,
        collection_id=fact.about,
        season=body.season,
        animal=UUID(body.animal),
        cause=UUID(body.cause),
        change=body.change,
        pairings=list(body.pairings),
        at=fact.received_at,
    )


def store_note(fact: Logged[SeasonNoted]) -> None:
    body = msgspec.to_builtins(fact.body)
    SeasonNote.objects.create(
        id=fact.id,
        position=fact.position,
        pairing_id=fact.about,
        by=fact.sender,
        at=fact.at,
        what=fact.body.what,
        on=fact.body.on,
        counted={name: body[name] for name in COUNTED.get(fact.body.what, ()) if name in body},
    )


def store_note_end(fact: Logged[SeasonNoteWithdrawn]) -> None:
    SeasonNoteEnd.objects.create(
        id=fact.id,
        position=fact.position,
        note_id=UUID(fact.body.noted),
        by=fact.sender,
        at=fact.at,
    )


def make_calendar_link(keeper: UUID, link: UUID, now: datetime) -> None:
    """A new one in place of the one before, which opens nothing from now on."""
    with transaction.atomic():
        end_calendar_link(keeper, now)
        CalendarLink.objects.create(id=link, keeper_id=keeper, made_at=now)


def end_calendar_link(keeper: UUID, now: datetime) -> None:
    CalendarLink.objects.filter(keeper=keeper, ended_at=None).update(ended_at=now)
