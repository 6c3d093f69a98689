"""Where pages hand facts to intake, signed by the reader's browser where it holds a key.

Under script a form is sent twice. First with the header :data:`ASKING`: the answer is the facts
that the form would state, and nothing is kept. The browser holds them to what was typed, signs
them, and sends the same form with :data:`SIGNED`: the same facts, made anew, go to intake with its
signatures. Their ids and times travel in the form, so they are the same; where anything else has
changed meanwhile the signature does not fit, and intake refuses it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from datetime import datetime
from typing import Any, Final
from uuid import UUID

import msgspec
from django.contrib.messages.storage import default_storage
from django.db import transaction
from django.http import HttpRequest, HttpResponse, JsonResponse

from scalewitness.domain.errors import BadSignature, Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.commitment import SALT_BYTES
from scalewitness.domain.translog.devices import ENROLLED
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept
from scalewitness.intake.submission import read, seal
from scalewitness.people.queries import signing_key

ASKING: Final = "Scalewitness-To-Sign"
"""The header of a form that is sent to learn what there is to sign: the browser's device."""
SIGNED: Final = "signed"
"""The field with what the browser signed, as JSON of a :class:`ByBrowser`."""

OTHERWISE: Final = (
    "By now the form states something else than what this browser signed. Send it again."
)

Item = Mapping[str, Any]


class Signature(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Of one fact: ``sig`` in base64; by its name the salt of each text, in hexadecimal."""

    sig: str
    salts: dict[str, str] = {}


class ByBrowser(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The browser's device, and its signatures by the id of the fact."""

    device: UUID
    facts: dict[str, Signature]


class ToSign(Exception):
    """Facts that are to be signed before they are sent; as the log will have them, but for their
    texts, which the browser commits to. Of none the form is sent as ever."""

    def __init__(self, facts: Sequence[Item]) -> None:
        super().__init__()
        self.facts = facts


_AT: ContextVar[HttpRequest | None] = ContextVar("at", default=None)


@contextmanager
def at_page(request: HttpRequest) -> Iterator[None]:
    """Within the block facts are said by this request."""
    before = _AT.set(request)
    try:
        yield
    finally:
        _AT.reset(before)


def to_sign(request: HttpRequest, take: Callable[[], object]) -> HttpResponse:
    """The answer to a form that only asks: the facts to be signed. Whatever ``take`` writes is
    taken back, and of its own answer nothing is sent: where there is nothing to sign (it is no
    such form, or was filled in wrongly) the browser sends it as ever, and its reader sees why."""
    answer = HttpResponse(status=204)
    with transaction.atomic():
        try:
            take()
        except ToSign as found:
            if found.facts:
                answer = JsonResponse({"keeper": str(request.user.pk), "facts": found.facts})
        transaction.set_rollback(True)
    request._messages = default_storage(request)  # type: ignore[attr-defined]
    return answer


def is_asking(request: HttpRequest) -> bool:
    """Whether its form is sent only to learn what there is to sign."""
    return request.method == "POST" and ASKING in request.headers


def is_signed(request: HttpRequest) -> bool:
    """Whether its form is signed, or is about to be."""
    return is_asking(request) or SIGNED in request.POST


def say(items: Sequence[Item], actor: Actor, now: datetime) -> list[Outcome]:
    """What `intake.services.accept` makes of them.

    Raises:
        ToSign: the browser asked what it is to sign.
    """
    request = _AT.get()
    if request is None or actor.keeper is None or not items:
        return accept(items, actor, now)
    if is_asking(request):
        # The intake is not tried: files and what is counted would outlast what is taken back.
        raise ToSign(_statements(items, now) if _holds_a_key(request, actor, items) else [])
    signed = _signed(request)
    if signed is None:
        return accept(items, actor, now)
    if not all(str(one["id"]) in signed.facts for one in items):
        problem = BadSignature(OTHERWISE).as_problem()
        return [Outcome(str(one["id"]), "refused", problem=problem) for one in items]
    given = [_with(one, signed.facts[str(one["id"])]) for one in items]
    return accept(given, replace(actor, device=signed.device), now)


def nothing_to_sign() -> None:
    """To be called before a page does what no browser signs and what cannot be taken back.

    Raises:
        ToSign: the browser only asked.
    """
    request = _AT.get()
    if request is not None and is_asking(request):
        raise ToSign([])


def _holds_a_key(request: HttpRequest, actor: Actor, items: Sequence[Item]) -> bool:
    """Whether what this browser signs may count: its key is in force, or is being enrolled."""
    if items[0]["kind"] == ENROLLED:
        return True
    try:
        device = UUID(request.headers[ASKING])
    except ValueError:
        return False
    return signing_key(actor.keeper, device) is not None


def _signed(request: HttpRequest) -> ByBrowser | None:
    """What no browser of ours wrote counts as nothing: the form is then not signed."""
    try:
        return msgspec.json.decode(request.POST.get(SIGNED, ""), type=ByBrowser)
    except msgspec.MsgspecError:
        return None


def _with(item: Item, signature: Signature) -> Item:
    texts = {
        name: {"text": text, "salt": signature.salts.get(name, "")}
        for name, text in item.get("texts", {}).items()
    }
    return {**item, "sig": signature.sig, "texts": texts}


def _statements(items: Iterable[Item], now: datetime) -> list[Item]:
    """None at all where intake would refuse the shape of any."""
    try:
        return [_as_logged(one, now) for one in items]
    except Refused:
        return []


def _as_logged(item: Item, now: datetime) -> Item:
    sealed = seal(read(item), now, lambda field: bytes(SALT_BYTES))
    body = {name: it for name, it in sealed.logged_body().items() if name not in sealed.texts}
    return {
        "id": str(sealed.id),
        "kind": sealed.kind,
        "at": rfc3339(sealed.at),
        "about": str(sealed.about),
        "body": body,
        "texts": {name: text for name, (_, text) in sealed.texts.items()},
    }
