"""The shared way from a POST to a fact: envelope in, one outcome out."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Generic, TypeVar
from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from msgspec import Meta, Struct, field
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of
from scalewitness.api.reading import Sent
from scalewitness.api.shapes.words import one_of
from scalewitness.domain import facts
from scalewitness.domain.errors import (
    FutureDate,
    IdempotencyKeyMissing,
    IdReused,
    KeyWaits,
    Malformed,
    NotFound,
    NotNow,
    OutOfRange,
    Refused,
    SignatureRequired,
    WrongShape,
)
from scalewitness.domain.ids import is_uuid7
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.leaf import Stamp
from scalewitness.domain.translog.sealing import SealedCall
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import Replayed, accept_one
from scalewitness.intake.submission import SaltedText
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entry_of
from scalewitness.people.services import fact_for_key

B = TypeVar("B")

FactId = Annotated[
    str,
    Meta(
        pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$",
        description="A UUIDv7 the client made: the same id again is the same fact.",
    ),
]
At = Annotated[
    str,
    Meta(
        description="When it was so, by the client's clock (RFC 3339); now when absent.",
        extra_json_schema={"format": "date-time"},
    ),
]
Texts = Annotated[
    dict[str, str | SaltedText],
    Meta(description="Free text by field; the log keeps only a salted commitment to it."),
]
Loose = dict[str, Any]

_KEY = re.compile(r'"([\x20\x21\x23-\x5b\x5d-\x7e]{1,100})"')

FACT_REFUSALS = (
    Malformed,
    IdempotencyKeyMissing,
    NotFound,
    NotNow,
    WrongShape,
    OutOfRange,
    FutureDate,
    IdReused,
    SignatureRequired,
    KeyWaits,
)


class IdAndTime(Sent, frozen=True, kw_only=True):
    """By what a fact is known again, and when it was so."""

    id: FactId | None = None
    at: At | None = None


class Signable(IdAndTime, frozen=True, kw_only=True):
    """A fact that the sending device may sign; then it names its own id and time."""

    sig: facts.Signature | None = None


class Nothing(Sent, frozen=True):
    """An object without members."""


class Bare(Signable, frozen=True, kw_only=True):
    """A fact whose path says it all, but for free text where its kind has any."""

    body: Nothing = Nothing()
    texts: Texts = field(default_factory=dict)


class Fact(Signable, Generic[B], frozen=True, kw_only=True):
    """A fact about what the path names."""

    body: B
    texts: Texts = field(default_factory=dict)


class FactAbout(Fact[B], Generic[B], frozen=True, kw_only=True):
    """A fact about what ``about`` names."""

    about: facts.Id


class FactAnswer(Struct, frozen=True, omit_defaults=True):
    """What became of a fact: nothing about what it caused. ``position`` in the log and where
    its ``receipt`` is once it is in; ``flags`` such as ``clock_ahead``, or ``known_elsewhere``
    of a transponder's code that another record bore first; ``stamp``, what the record put on the
    entry, from which with the statement its bytes can be made; ``seal``, of a late call, what
    shows later that it came."""

    id: str
    status: Annotated[str, one_of("accepted", "duplicate", "held")]
    position: int | None = None
    flags: tuple[str, ...] = ()
    receipt: Annotated[str, Meta(extra_json_schema={"format": "uri-reference"})] | None = None
    stamp: Stamp | None = None
    seal: SealedCall | None = None


ANSWERS = {201: FactAnswer, 200: FactAnswer}
_STATUS = {"accepted": 201, "duplicate": 200, "held": 202}


@dataclass(frozen=True, slots=True, kw_only=True)
class PendingFact:
    """A fact about to be submitted. ``earlier``: its entry, when the log knows the id."""

    id: UUID
    at: str
    now: datetime
    actor: Actor
    earlier: Entry | None = None
    sig: str | None = None
    token: str | None = None
    """Of the buyer's link that it is submitted through."""

    def submit(
        self,
        kind: str,
        about: UUID | str,
        *,
        location: str,
        body: Mapping[str, Any] | None = None,
        texts: Mapping[str, str | SaltedText] | None = None,
        flat: tuple[str, ...] = (),
    ) -> Response:
        """Hand the fact to the one way in and answer with what became of it. ``flat``:
        members of the envelope whose own members the client sent at the top.

        Raises:
            Refused: whatever speaks against it.
        """
        item = {
            "id": str(self.id),
            "kind": kind,
            "at": self.at,
            "about": str(about),
            "body": dict(body or {}),
            "texts": {name: _plain(text) for name, text in (texts or {}).items()},
            "sig": self.sig,
        }
        try:
            outcome = accept_one(item, self.actor, self.now)
        except Refused as refused:
            raise as_sent(refused, flat) from None
        receipt = None if outcome.position is None else self._receipt()
        answer = FactAnswer(
            str(self.id),
            outcome.status,
            outcome.position,
            outcome.flags,
            receipt,
            outcome.stamp,
            outcome.seal,
        )
        return Response(answer, _STATUS[outcome.status], headers={"Location": location})

    def about(self, named: UUID, theirs: UUID | None) -> UUID:
        """What it is about: ``theirs``, found behind what the path names, where that is the
        asker's to speak of, else what the path names itself, about which the record then refuses
        it. So its shape is looked at first, whatever there is. A repeat is about the same."""
        earlier = self.earlier
        if earlier is not None and earlier.about is not None and earlier.by == self.actor.by:
            return earlier.about
        return theirs or named

    def _receipt(self) -> str:
        if self.token is None:
            return reverse("api:receipt", args=[self.id])
        return reverse("api:offer-receipt", args=[self.token, self.id])


def as_sent(refused: Refused, flat: tuple[str, ...]) -> Refused:
    """The refusal with its pointers into what the client sent."""
    problem = refused.as_problem()
    for place in problem.get("errors", []):
        for member in flat:
            place["pointer"] = place["pointer"].removeprefix(f"/{member}")
    return Replayed(problem)


def _plain(text: str | SaltedText) -> str | dict[str, str]:
    return text if isinstance(text, str) else {"text": text.text, "salt": text.salt}


def begin(request: Request, sent: IdAndTime, actor: Actor | None = None) -> PendingFact:
    """Find the fact's id and time: its own, or those kept for its Idempotency-Key.

    Without ``at`` a repeat takes the time of the first, so that it is the same fact.

    Raises:
        IdempotencyKeyMissing: it has neither an id nor a key.
        WrongShape: the id is no UUIDv7.
    """
    actor = actor or actor_of(request)
    now = timezone.now()
    fact_id, first_at = _identified(request, sent, actor, now)
    earlier = entry_of(fact_id)
    default = earlier.claimed_at if earlier else first_at
    return PendingFact(
        id=fact_id,
        at=sent.at or rfc3339(default),
        now=now,
        actor=actor,
        earlier=earlier,
        sig=sent.sig if isinstance(sent, Signable) else None,
        token=request.parser_context["kwargs"].get("token"),
    )


def _identified(
    request: Request, sent: IdAndTime, actor: Actor, now: datetime
) -> tuple[UUID, datetime]:
    if sent.id is not None:
        if not is_uuid7(sent.id):
            raise WrongShape("An id is a UUIDv7 in lower case.", pointer="/id")
        return UUID(sent.id), now
    if actor.by is None:
        raise NotFound()
    fresh = fresh_id(now)
    return fact_for_key(actor.by, _key(request), fresh, now)


def _key(request: Request) -> str:
    """The Idempotency-Key, a structured-field string (RFC 8941, 3.3.3)."""
    given = request.headers.get("Idempotency-Key")
    if given is None:
        raise IdempotencyKeyMissing("Send the fact's own id, or an Idempotency-Key.")
    found = _KEY.fullmatch(given.strip())
    if found is None:
        raise Malformed("An Idempotency-Key is a quoted string of 1 to 100 ASCII characters.")
    return found[1]


def filled(body: Mapping[str, Any], **path: Any) -> dict[str, Any]:
    """The body with what the path already says, which it must not say again.

    Raises:
        WrongShape: it does.
    """
    for name in path:
        if name in body:
            raise WrongShape(f"The path says “{name}”; leave it out.", pointer=f"/body/{name}")
    return {**body, **path}
