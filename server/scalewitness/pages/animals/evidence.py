"""An animal's evidence as a page shows it: to keepers by name, to buyers by role."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from string import ascii_uppercase
from typing import Final
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal, Photo
from scalewitness.animals.queries.partners import sharing_with
from scalewitness.calls.models import Attestation, Call
from scalewitness.calls.queries.held import LateChecks
from scalewitness.calls.queries.reports import STATEMENTS, attested, last_answer
from scalewitness.calls.queries.visibility import Reader
from scalewitness.domain.clocks import correction_in_words
from scalewitness.domain.facts import CallMade
from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.explain import ReasonLine
from scalewitness.domain.sexing.sensitivity import in_words
from scalewitness.domain.sexing.words import found_in_words, support
from scalewitness.examiners.backgrounds import backgrounds_of
from scalewitness.intake.rules.comparing import pairs_of
from scalewitness.intake.rules.reports import has_share
from scalewitness.mail.templatetags.words import day
from scalewitness.pages.plots.axis import letter
from scalewitness.standings.queries.dossier import Dossier, ShownCall

IDENTITY: Mapping[str, str] = {
    "confirmed": "Its code was read and matches.",
    "tub_tag": "The tag of its tub was read; a tub may hold another animal.",
    "unconfirmed": "No code was read, so it may have been another animal.",
    "mismatch": "The code read is not this animal's.",
}
COMPARED: Mapping[str, str] = {
    "same": "Someone without a share in it compared photos: it was this animal.",
    "another": "Someone without a share in it compared photos: it was another animal.",
}
FLAGS: Mapping[str, str] = {
    "clock_ahead": "The sender's clock was ahead of ours.",
    "late": "It arrived long after the visit and the keeper admitted it.",
}
CONFIRMED: Mapping[str, str] = {
    "report_answered": "Whoever it names confirmed it.",
    "document_read": "Someone without a share in the animal read the report it is taken from.",
    "witness_stated": "Someone without a share in the animal saw them too.",
}
UNFOOTED: Final = "Nobody whose word may verify a sex stands behind that, so it settles nothing."
GROUNDS: Mapping[str, str] = {
    "wrong_animal": "another animal was checked",
    "wrong_reading": "it was misread",
    "wrong_method": "the method does not fit",
    "not_blind": "the examiner knew more than stated",
    "other": "another reason",
}


def late_in_words(late: LateChecks) -> list[str]:
    """What is told of late checks that do not count, to whoever is shown the animal's sex."""
    found = []
    if late.waiting:
        one, since = len(late.waiting) == 1, day(late.waiting[0])
        found.append(
            f"{'A late check waits' if one else f'{len(late.waiting)} late checks wait'} for the "
            f"animal’s keeper to admit, {'' if one else 'the first '}since {since}: more than 14 "
            "days had passed since the visit. Nobody but the examiner knows what was seen, and it "
            "does not count meanwhile."
        )
    if late.not_admitted:
        one, on = len(late.not_admitted) == 1, day(late.not_admitted[-1])
        found.append(
            f"{'A late check was' if one else f'{len(late.not_admitted)} late checks were'} not "
            f"admitted by the animal’s keeper, {'' if one else 'the last '}on {on}. The keeper "
            "decided without knowing what was seen; nobody is shown it, and it does not count."
        )
    return found


@dataclass(frozen=True, slots=True)
class CallInWords:
    """One call in words. ``key`` is its letter in the drawings; ``interest`` says whose there
    was; ``weight`` is None for one that does not count."""

    key: str
    call: Call
    who: str
    sent_by: str | None
    method: str
    text: str
    identity: str
    knew: str
    signed: str
    interest: str | None
    footing: str
    examiner: str
    weight: str | None
    state: str
    flags: tuple[str, ...]
    objections: tuple[str, ...]
    report: str | None
    answer_note: str | None
    may_be_confirmed: tuple[str, ...]
    confirmed_by: frozenset[UUID]
    may_be_compared: bool
    harm: tuple[str, ...]
    note: str | None
    note_salt: bytes | None
    photos: tuple[Photo, ...]


FOOTING: Final[Mapping[str, str]] = {
    "founder": "Whoever made it was named by the operator at the start.",
    "record": "Whoever made it had a good record here then.",
    "vouched": "Keepers with a record here vouched for whoever made it.",
    "none": "The word of whoever made it verified nothing by itself then.",
}


DECEIVED: Final = "A finding says that whoever sent it deceived; their word verifies nothing."


def by_name(dossier: Dossier) -> list[CallInWords]:
    """For people who may see the animal whole."""
    who = {call.call.pk: _named(call) for call in dossier.calls}
    return list(_all_shown(dossier, who, notes=True))


def offered_to(reader: Reader, animal: Animal, calls: list[CallInWords]) -> list[CallInWords]:
    """Without the ways to confirm or compare a call that would be refused to them."""
    senders = {one.call.by for one in calls if one.may_be_confirmed or one.may_be_compared}
    if not senders:
        return calls
    holds, keeper = reader.holds, reader.keeper
    if not (animal.collection_id in holds or has_share(keeper, animal.pk, holds)):
        senders = sharing_with(keeper, senders)
    return [
        replace(one, may_be_confirmed=(), may_be_compared=False) if one.call.by in senders else one
        for one in calls
    ]


def by_role(dossier: Dossier, seller: UUID) -> list[CallInWords]:
    """For a buyer or arbiter: what each examiner is to the animal, no name, no free text."""
    roles = roles_of([one.call for one in dossier.calls], seller)
    return list(_all_shown(dossier, roles, notes=False))


def for_buyer(
    dossier: Dossier, seller: UUID, buyer: UUID | None, now: datetime
) -> list[CallInWords]:
    """By role; with the first call of each examiner that counts, what is known of them here.
    ``buyer`` None: they have no account."""
    backgrounds = backgrounds_of(dossier, seller, buyer, now)
    return [
        replace(one, examiner=backgrounds.pop(one.call.examiner, ""))
        if one.state == "counts"
        else one
        for one in by_role(dossier, seller)
    ]


def _all_shown(dossier: Dossier, who: Mapping[UUID, str], *, notes: bool) -> Iterable[CallInWords]:
    for place, one in enumerate(dossier.calls):
        yield _shown(letter(place), one, who[one.call.pk], dossier, notes=notes)


def roles_of(calls: Iterable[Call], seller: UUID) -> dict[UUID, str]:
    """Each call's examiner in a word or two; independent keepers are told apart by letter."""
    letters: dict[UUID, str] = {}
    found: dict[UUID, str] = {}
    for call in calls:
        role = _role(call, seller)
        if role == "independent keeper":
            spare = ascii_uppercase[len(letters) % 26]
            role = f"Independent keeper {letters.setdefault(call.examiner, spare)}"
        found[call.pk] = role
    return found


def _role(call: Call, seller: UUID) -> str:
    sender = "the seller" if call.by == seller else "a keeper"
    if call.role == "veterinarian":
        return f"A veterinarian, reported by {sender}"
    if call.role == "laboratory":
        return f"A laboratory, reported by {sender}"
    if call.role == "earlier_keeper":
        return f"An earlier keeper, reported by {sender}"
    if call.by == seller:
        return "The seller"
    return "Someone with a share in the animal" if call.interested else "independent keeper"


def _named(one: ShownCall) -> str:
    roles = {
        "veterinarian": f"{one.examiner_name}, veterinarian",
        "laboratory": f"{one.examiner_name}, laboratory",
        "earlier_keeper": f"{one.examiner_name}, earlier keeper",
    }
    return roles.get(one.call.role, one.examiner_name)


def _shown(key: str, one: ShownCall, who: str, dossier: Dossier, *, notes: bool) -> CallInWords:
    call, body = one.call, msgspec.convert(one.call.body, CallMade)
    lines = {line.call: line.text for line in dossier.lines if line.kind == "call"}
    plain = f"{found_in_words(body.observed)}; concluded {body.conclusion}."
    reported = notes and call.role != "keeper"
    return CallInWords(
        key=key,
        call=call,
        who=who,
        sent_by=one.sender_name if reported else None,
        method=METHODS[call.method].name,
        text=lines.get(str(call.pk), plain),
        identity=_identity(one, body, notes=notes),
        knew=_knew(call),
        signed=_signed(one),
        interest=_interest(call),
        footing=_footing(one),
        examiner="",
        weight=support(one.weight.log10_lr) if one.weight else None,
        state=_state(one),
        flags=flags_of(call, body),
        report=_report(one),
        answer_note=_answer_note(one, dossier) if notes else None,
        may_be_confirmed=_ways(one),
        confirmed_by=frozenset(a.by for a in attested(one.call) if a.by and a.kind in STATEMENTS),
        may_be_compared=bool(pairs_of(call, dossier.photos)),
        objections=tuple(GROUNDS[made.ground] for made in call.objections.all()),
        harm=body.harm,
        note=one.note if notes else None,
        note_salt=one.note_salt if notes else None,
        photos=tuple(photo for photo in dossier.photos if photo.call == call.pk),
    )


def _footing(one: ShownCall) -> str:
    """Of a finding since then also where its footing was good, or from before that was asked."""
    if one.deceived:
        return DECEIVED
    return FOOTING.get(one.call.footing, "") if one.call.role == "keeper" else ""


def _report(one: ShownCall) -> str | None:
    """Whose word a call is, where it is not its examiner's own; without a name."""
    if one.report == "own":
        return None
    remarks = attested(one.call)
    if one.report == "confirmed":
        return _confirmed(remarks[-1], one.call) if remarks else None
    if one.report == "denied":
        return "Whoever it names says that they did not make this call."
    if remarks:
        return "It is its sender's word: the answer came from an address that the sender gave."
    if one.call.attestations.all():
        return "It is its sender's word again: whoever had confirmed it withdrew that."
    return "It is its sender's word: nobody without a share in it has confirmed it."


def _confirmed(last: Attestation, call: Call) -> str:
    words = CONFIRMED[last.kind]
    if last.young is not None:
        words = "Someone without a share in it saw young that are registered as this animal's."
    stands = max(call.attestations.all(), key=lambda one: one.position)
    return f"{words} {UNFOOTED}" if stands.footing == "none" else words


def _answer_note(one: ShownCall, dossier: Dossier) -> str | None:
    answer = last_answer(one.call)
    return dossier.notes.get(answer.pk) if answer else None


def _ways(one: ShownCall) -> tuple[str, ...]:
    """By what others might still confirm it."""
    if one.report != "unconfirmed" or not one.counts:
        return ()
    document = ("document",) if one.call.body.get("document") else ()
    return (*document, "witness") if one.call.method == "reproduction" else document


def flags_of(call: Call, body: CallMade) -> tuple[str, ...]:
    """What there is to say of the times of a call."""
    notes = tuple(FLAGS[flag] for flag in call.flags if flag in FLAGS)
    return (*notes, correction_in_words(body.corrected)) if body.corrected else notes


def _identity(one: ShownCall, body: CallMade, *, notes: bool) -> str:
    """Keepers are told the code of the other animal, which may be in the wrong tub."""
    call = one.call
    words = COMPARED[one.compared] if one.compared else IDENTITY[call.identity]
    if call.refiles_id:
        words += " It was first filed on another animal."
    if notes and call.identity == "mismatch" and not one.compared:
        words += f" It was {body.identified.code}."
    return words


def _knew(call: Call) -> str:
    if call.role != "keeper":
        return f"Said to have been told {call.anchored_to or 'no earlier answer'}"
    if call.blind:
        return "Knew no earlier answer"
    if call.anchored_to:
        return f"Knew it had been called {call.anchored_to}"
    return "No earlier answer was on record"


def _signed(one: ShownCall) -> str:
    """Whoever reports a call signs for their own word, not for the examiner's."""
    if not one.signed:
        return "Not signed on a device."
    whose = "examiner's" if one.call.role == "keeper" else "sender's"
    only = ": nothing but their password stands for its key" if one.by_password_only else ""
    return f"Signed on the {whose} device{only}."


def _interest(call: Call) -> str | None:
    """Of a reported call the interest is the sender's, never the examiner's."""
    if call.role != "keeper":
        sender = ", by someone with a share in the animal" if call.interested else ""
        return f"reported at second hand{sender}"
    return "has a share in the animal" if call.interested else None


def _state(one: ShownCall) -> str:
    if one.withdrawn:
        return "withdrawn"
    if one.set_aside:
        return "set aside"
    if one.refiled:
        return "another animal’s, and counted there"
    if one.waiting:
        return "waits for an answer"
    return "counts" if one.counts else "does not count"


def of_the_animal(dossier: Dossier) -> list[Photo]:
    """The photos that belong to no call."""
    return [photo for photo in dossier.photos if photo.call is None]


def lines_of(dossier: Dossier, kind: str) -> list[ReasonLine]:
    return [line for line in dossier.lines if line.kind == kind]


def sensitivity_of(dossier: Dossier) -> str | None:
    """How far the answer moves when the model's numbers do; None while nothing was checked."""
    return in_words(dossier.sensitivity) if dossier.evidence else None


def weakest(dossier: Dossier) -> tuple[CallInWords, str] | None:
    """The counted call that speaks most strongly against what the rest of the record
    favours, with how the answer would stand without it; None when none does."""
    favoured = dossier.assessment.favoured
    against = [
        weight
        for weight in dossier.assessment.weights
        if favoured and weight.log10_lr * (1 if favoured == "male" else -1) < 0
    ]
    if not against:
        return None
    worst = max(against, key=lambda weight: abs(weight.log10_lr))
    shown = next(one for one in by_name(dossier) if str(one.call.pk) == worst.call)
    p = worst.p_male_without if favoured == "male" else 1 - worst.p_male_without
    return shown, f"{p:.1%}"
