"""What a page shows, for the reader's own browser to hold to the log (``checking/proving.js``).

Everything here comes from the rows that the page is made of, never from the log: a row that says
otherwise than its entry is what the browser is to find.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final, TypeAlias
from uuid import UUID

from scalewitness.animals.models import Animal, Photo
from scalewitness.calls.models import Call, HeldCall
from scalewitness.calls.queries.held import all_held
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.moments import rfc3339, to_the_microsecond
from scalewitness.domain.sales import MAY
from scalewitness.ledger.queries.tree import tip
from scalewitness.pages.animals.evidence import CallInWords
from scalewitness.pages.receipts.log import log_keys
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.standings.models import Standing

Shown: TypeAlias = Mapping[str, Any]
"""As ``checking.d.ts`` has it."""
CALLS: Final = ("call_made", "call_refiled")
LATE: Final = ("call_held", "late_call_decided")
STANDING: Final = ("label", "p_male", "p_male_pessimistic")
ADMITTED: Final = ("stage", "blind", "interested", "identity", "anchored_to", "footing", "waits")


@dataclass(frozen=True, slots=True)
class Proving:
    """Where the browser asks for the proofs; up to which position the page must show everything,
    read before anything else of it; and what it shows beside its single lines."""

    address: str
    seen: int
    shown: list[Shown] = field(default_factory=list)
    codes: bool = True
    """Whether lines hold the code read at a check: by a link, it may be a later holder's."""

    @property
    def as_json(self) -> str:
        return as_json(self.shown)

    @property
    def keys(self) -> str:
        """The log's keys, one on a line."""
        return "\n".join(log_keys())


def seen_now() -> int:
    """The last position of the log; to be read before what is to be shown as of it."""
    return tip().size - 1


def as_json(shown: Sequence[Shown]) -> str:
    return json.dumps(shown, ensure_ascii=False, separators=(",", ":"))


def all_of(title: str, animal: UUID, kinds: Iterable[str]) -> Shown:
    """That the page shows every entry of these kinds about the animal."""
    return {"kind": "record", "label": title, "about": str(animal), "all": list(kinds)}


def standing_of(title: str, animal: UUID, standing: Standing | None) -> Shown:
    """The one in force, as the page has it."""
    found = {"kind": "standing", "label": f"The standing of {title}", "about": str(animal)}
    if standing is None:
        return found | {"position": None}
    holds = {name: getattr(standing, name) for name in STANDING}
    return found | {"id": str(standing.pk), "position": standing.position, "holds": holds}


def represented(title: str, animal: UUID, was: Mapping[str, Any]) -> Shown:
    """A standing that somebody was told of, at the position they were told."""
    return {
        "kind": "standing_changed",
        "label": f"What was said of {title}",
        "about": str(animal),
        "position": was["position"],
        "holds": {name: was[name] for name in STANDING},
    }


def sheet_of(title: str, animal: Animal, codes: Iterable[Any]) -> Shown:
    """What stands on the sheet of an animal beside its checks."""
    holds = {
        "codes": sorted([one.scheme, one.code] for one in codes),
        "species": animal.species,
        "hatched": _day(animal.hatched),
        "ended": animal.ended or None,
    }
    return {"kind": "sheet", "label": title, "about": str(animal.pk), "holds": holds}


def species_of(title: str, animal: UUID, species: str) -> Shown:
    """Of a sheet the species alone, without which no standing is computed again."""
    return {"kind": "sheet", "label": title, "about": str(animal), "holds": {"species": species}}


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def deal_of(sale: Sale) -> list[Shown]:
    """Every step of a sale."""
    return [all_of("The sale", sale.pk, sorted(MAY)), *map(step_shown, sale.steps.all())]


def step_shown(step: SaleStep) -> Shown:
    return {
        "kind": step.kind,
        "label": f"The step “{step.kind.replace('_', ' ')}”",
        "about": str(step.sale_id),
        "id": str(step.pk),
        "position": step.position,
        "received": to_the_microsecond(step.at),
        "by": str(step.by) if step.by else None,
        "body": step.body,
    }


def disclosure_shown(owed: Disclosure) -> list[Shown]:
    """A disclosure, and that it was read."""
    holds = {"was": owed.was, "now": owed.now, "change": owed.change}
    stated = {
        "kind": "disclosure_owed",
        "label": "The disclosure",
        "about": str(owed.pk),
        "position": owed.position,
        "holds": holds | {"sale": str(owed.sale_id), "animal": str(owed.animal_id)},
    }
    read = getattr(owed, "acknowledgement", None)
    if read is None:
        return [stated]
    acknowledged = {
        "kind": "disclosure_acknowledged",
        "label": "That it was read",
        "about": str(owed.pk),
        "position": read.position,
        "received": to_the_microsecond(read.at),
    }
    return [stated, acknowledged]


def late_of(
    title: str, animal: UUID, has: Callable[[int], bool] = lambda position: True
) -> list[Shown]:
    """Late calls: that each came, and what was decided of it; what the page says in a sentence.
    ``has``: whether the reader may read the entry at a position."""
    found, first = list[dict[str, Any]](), dict[tuple[UUID, str], str]()
    for held in all_held(animal):
        if hasattr(held, "seal"):
            occasion = (held.by, held.submission["body"].get("visit") or str(held.pk))
            found.append(_sealed(title, held, first.setdefault(occasion, str(held.pk))))
        if hasattr(held, "decision"):
            found.append(_decided(title, held))
    about = {"about": str(animal)}
    return [
        all_of(title, animal, LATE),
        *(one | about for one in found if has(one["position"])),
    ]


def _sealed(title: str, held: HeldCall, first: str) -> dict[str, Any]:
    """``first``: of the calls of that visit."""
    earlier = first if first != str(held.pk) else None
    return {
        "kind": "call_held",
        "label": f"A late check of {title}",
        "position": held.seal.position,
        "at": rfc3339(held.received_at),
        "flags": held.submission["flags"],
        "holds": {"held": str(held.pk), "same_visit_as": earlier},
    }


def _decided(title: str, held: HeldCall) -> dict[str, Any]:
    return {
        "kind": "late_call_decided",
        "label": f"What was decided of a late check of {title}",
        "position": held.decision.position,
        "holds": {"held": str(held.pk), "admitted": held.decision.admitted},
    }


def call_shown(one: CallInWords, *, codes: bool) -> Shown:
    """A line of a call: what it says, what the record knew of it, and what became of it."""
    call = one.call
    return {
        "label": f"Call {one.key}",
        "about": str(call.animal_id),
        "id": str(call.pk),
        "position": call.position,
        "withdrawn": one.state == "withdrawn",
        "admitted": {name: getattr(call, name) for name in ADMITTED},
        "texts": _texts(one),
        **(_refiled(call) if call.refiles_id else _made(call, codes)),
    }


def _texts(one: CallInWords) -> Shown:
    """Each with the salt under which its entry commits to it."""
    if one.note is None or one.note_salt is None:
        return {}
    return {"note": [one.note, bytes(one.note_salt).hex()]}


def _made(call: Call, codes: bool) -> Shown:
    body = dict(call.body)
    if not codes and "identified" in body:
        body["identified"] = {name: it for name, it in body["identified"].items() if name != "code"}
    return {
        "kind": "call_made",
        "by": str(call.by),
        "at": rfc3339(call.examined_at),
        "received": to_the_microsecond(call.received_at),
        "flags": call.flags,
        "body": body,
        "holds": {"conclusion": call.conclusion, "observed": {"method": call.method}},
    }


def _refiled(call: Call) -> Shown:
    """What it says is an entry about the animal that it was filed on first."""
    return {"kind": "call_refiled", "by": str(call.by), "holds": {"call": str(call.refiles_id)}}


def photo_shown(photo: Photo) -> Shown:
    return {
        "kind": "photo_attached",
        "label": "Photo",
        "about": str(photo.animal_id),
        "id": str(photo.pk),
        "position": photo.position,
        "at": rfc3339(photo.at),
        "by": str(photo.by),
        "holds": {"sha256": photo.sha256, "of": str(photo.call) if photo.call else None},
    }
