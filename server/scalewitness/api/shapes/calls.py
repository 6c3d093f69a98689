"""Calls and standings as shown, each number with where it comes from."""

from datetime import datetime
from typing import Annotated, Any, get_args
from uuid import UUID

import msgspec
from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.api.shapes.animals import StandingNamed, standing_named
from scalewitness.api.shapes.people import Person, named
from scalewitness.api.shapes.reports import AttestationShown, ReportWord, attestation
from scalewitness.api.shapes.sensitivity import SensitivityShown, sensitivity_shown
from scalewitness.calls.models import Call, HeldCall
from scalewitness.calls.queries.held import LateChecks
from scalewitness.calls.queries.made import call_of
from scalewitness.domain.facts import CallMade, Corrected, Footing, Identification
from scalewitness.domain.observations import Observation, method_of
from scalewitness.domain.sexing.evidence import Compared
from scalewitness.domain.sexing.explain import ReasonLine
from scalewitness.domain.sexing.parameters import Parameter
from scalewitness.domain.sexing.standing import CallWeight, SessionWeight
from scalewitness.domain.sexing.used import RecordUsed
from scalewitness.examiners.settled import Settled
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.standings.queries.dossier import Dossier, ShownCall

Same = Annotated[str, words.one_of(*get_args(Compared))]


class Examiner(Struct, frozen=True):
    """Who made the call. ``role`` other than ``keeper``: it was reported by the sender."""

    id: UUID
    name: str
    role: words.Role


class WithdrawalShown(Struct, frozen=True):
    id: UUID
    position: int
    at: datetime
    note: str | None


class ObjectionShown(Struct, frozen=True):
    id: UUID
    position: int
    by: Person
    ground: str
    at: datetime
    note: str | None


class ComparisonShown(Struct, frozen=True):
    """Somebody laid a ``photo`` of the check beside an ``earlier`` one."""

    id: UUID
    position: int
    by: Person
    photo: UUID
    earlier: UUID
    answer: Same
    at: datetime


class CallShown(Struct, frozen=True, tag_field="sight", tag="all"):
    """One call with the objections to it and what it weighs. ``weight`` is None when it
    does not count; ``finding`` is the one that set it aside. ``interested``: whoever sent it
    had a share in the animal, or was selling or buying it; when ``second_hand`` that is not
    the examiner, and what the examiner knew is hearsay. ``signed``: the device it was sent
    from signed it, which the log's entry holds; the sender's, when ``second_hand``;
    ``by_password_only``: no other device of its keeper endorsed that device's key.
    ``corrected``: ``examined_at`` is what the device's clock said plus an offset measured.
    ``refiled``: it was of another animal, by the transponder read, and counts there; ``refiles``:
    it was first filed on another. ``compared``: what the photos say of ``identity``, taken
    together. ``report``: whose word it is; ``document``: SHA-256 of the
    report it is taken from. ``footing``: why the word of whoever sent it could verify a sex then;
    ``none``: it could not yet; null: from before that was asked. ``waiting``: it contradicts a
    verified sex without a footing, and does not count until somebody answers it."""

    id: UUID
    animal: UUID
    position: int
    method: words.Method
    conclusion: words.Conclusion
    sureness: str
    observed: Observation
    identified: Identification
    held_by: str
    harm: tuple[str, ...]
    examined_at: datetime
    corrected: Corrected | None
    received_at: datetime
    examiner: Examiner
    sent_by: Person
    blind: bool
    interested: bool
    second_hand: bool
    signed: bool
    by_password_only: bool
    anchored_to: str | None
    footing: Footing | None
    waiting: bool
    identity: str
    stage: str
    visit: UUID | None
    flags: list[str]
    note: str | None
    withdrawn: bool
    withdrawal: WithdrawalShown | None
    set_aside: bool
    finding: UUID | None
    refiled: bool
    refiles: bool
    compared: Same | None
    comparisons: list[ComparisonShown]
    report: ReportWord
    document: str | None
    attestations: list[AttestationShown]
    objections: list[ObjectionShown]
    weight: CallWeight | None


class LateChecksShown(Struct, frozen=True):
    """Checks that came more than 14 days after their visit and do not count: when each came that
    waits for the animal's keeper, and when it was decided of each that was not admitted, oldest
    first. What they found is shown to nobody but who made them."""

    waiting: list[datetime]
    not_admitted: list[datetime]


class Calls(Struct, frozen=True):
    items: list[CallShown]
    late: LateChecksShown


class StandingShown(Struct, frozen=True):
    """A standing with all it rests on, as of ``position``. ``logged`` is what the log says;
    the rest is recomputed from the calls that counted then. ``settled`` are the examiners'
    own records that entered; ``settled_withheld``: those of some examiner are not shown while
    you have animals to check blind."""

    animal: UUID
    logged: StandingNamed | None
    label: words.Label
    p_male: float
    p_male_pessimistic: float
    favoured: str | None
    decisive: bool
    reasons: tuple[str, ...]
    lines: tuple[ReasonLine, ...]
    weights: tuple[CallWeight, ...]
    sessions: tuple[SessionWeight, ...]
    parameters: str
    policy: str
    examiner_records: str
    used: tuple[Parameter, ...]
    settled: tuple[RecordUsed, ...]
    settled_withheld: bool
    sensitivity: SensitivityShown


class HeldCallShown(Struct, frozen=True):
    """A call that came long after its visit. What was done and found stays hidden until it is
    admitted, so that nobody admits by the answer."""

    id: UUID
    animal: UUID
    by: Person
    visit: UUID | None
    examined_at: datetime
    corrected: Corrected | None
    received_at: datetime
    admitted: bool | None


class OwnCall(Struct, frozen=True, tag_field="sight", tag="own"):
    """A call as whoever sent it is shown it where they may not see its animal whole, or where it
    came so late that the animal's keeper decides on it. ``position``: of its entry, which only
    what is on record has; ``decided``: the log position of the decision."""

    id: UUID
    animal: UUID
    state: Annotated[str, words.one_of("on_record", "waits", "not_admitted")]
    method: words.Method
    conclusion: words.Conclusion
    sureness: str
    observed: Observation
    identified: Identification
    visit: UUID | None
    examined_at: datetime
    corrected: Corrected | None
    received_at: datetime
    position: int | None
    decided: int | None
    note: str | None


def calls(known: Dossier) -> list[CallShown]:
    """The calls of a dossier in log order."""
    return [call(shown, known) for shown in known.calls]


def late_checks(late: LateChecks) -> LateChecksShown:
    return LateChecksShown(list(late.waiting), list(late.not_admitted))


def call(shown: ShownCall, known: Dossier) -> CallShown:
    row, made = shown.call, msgspec.convert(shown.call.body, CallMade)
    return CallShown(
        id=row.pk,
        animal=row.animal_id,
        position=row.position,
        method=row.method,
        conclusion=row.conclusion,
        sureness=made.sureness,
        observed=made.observed,
        identified=made.identified,
        held_by=made.held_by,
        harm=made.harm,
        examined_at=row.examined_at,
        corrected=made.corrected,
        received_at=row.received_at,
        examiner=Examiner(row.examiner, shown.examiner_name, row.role),
        sent_by=Person(row.by, shown.sender_name),
        blind=row.blind,
        interested=row.interested,
        second_hand=row.role != "keeper",
        signed=shown.signed,
        by_password_only=shown.by_password_only,
        anchored_to=row.anchored_to,
        footing=msgspec.convert(row.footing or None, Footing | None),
        waiting=shown.waiting,
        identity=row.identity,
        stage=row.stage,
        visit=row.visit,
        flags=row.flags,
        note=shown.note,
        withdrawn=shown.withdrawn,
        withdrawal=_withdrawal(row, known) if shown.withdrawn else None,
        set_aside=shown.set_aside,
        finding=row.set_aside.finding if shown.set_aside else None,
        refiled=shown.refiled,
        refiles=row.refiles_id is not None,
        compared=shown.compared,
        comparisons=_comparisons(row, known),
        report=shown.report,
        document=made.document,
        attestations=_attestations(row, known),
        objections=_objections(row, known),
        weight=shown.weight,
    )


def _withdrawal(row: Call, known: Dossier) -> WithdrawalShown:
    one = row.withdrawal
    return WithdrawalShown(one.pk, one.position, one.at, known.notes.get(one.pk))


def _attestations(row: Call, known: Dossier) -> list[AttestationShown]:
    """What people stated of it."""
    attestations = sorted(row.attestations.all(), key=lambda one: one.position)
    return [
        attestation(one, one.by, known.names, known.notes.get(one.pk))
        for one in attestations
        if one.by
    ]


def _comparisons(row: Call, known: Dossier) -> list[ComparisonShown]:
    return [
        ComparisonShown(
            id=one.pk,
            position=one.position,
            by=named(one.by, known.names),
            photo=one.photo,
            earlier=one.earlier,
            answer=one.answer,
            at=one.at,
        )
        for one in sorted(row.comparisons.all(), key=lambda one: one.position)
    ]


def _objections(row: Call, known: Dossier) -> list[ObjectionShown]:
    return [
        ObjectionShown(
            id=one.pk,
            position=one.position,
            by=named(one.by, known.names),
            ground=one.ground,
            at=one.at,
            note=known.notes.get(one.pk),
        )
        for one in sorted(row.objections.all(), key=lambda one: one.position)
    ]


def standing(known: Dossier, settled: Settled) -> StandingShown:
    """The standing of a dossier, with every number that entered it; ``settled`` as far as
    the asker may know it."""
    found = known.assessment
    return StandingShown(
        animal=known.animal.pk,
        logged=standing_named(known.standing),
        label=found.label,
        p_male=found.p_male,
        p_male_pessimistic=found.p_male_pessimistic,
        favoured=found.favoured,
        decisive=found.decisive,
        reasons=found.reasons,
        lines=known.lines,
        weights=found.weights,
        sessions=found.sessions,
        parameters=found.parameters,
        policy=found.policy,
        examiner_records=found.records,
        used=found.used,
        settled=settled.records,
        settled_withheld=settled.withheld,
        sensitivity=sensitivity_shown(
            known.sensitivity, {one.name: one.source for one in found.used}
        ),
    )


def held(one: HeldCall, names: dict[UUID, str]) -> HeldCallShown:
    body = _made(one)
    return HeldCallShown(
        id=one.pk,
        animal=one.animal_id,
        by=named(one.by, names),
        visit=UUID(body.visit) if body.visit else None,
        examined_at=datetime.fromisoformat(one.submission["at"]),
        corrected=body.corrected,
        received_at=one.received_at,
        admitted=one.decision_made,
    )


def _made(one: HeldCall) -> CallMade:
    return msgspec.convert(one.submission["body"], CallMade)


def own_held(one: HeldCall) -> OwnCall:
    """``admitted`` ones are on record; their entry follows the decision."""
    waits, decided = one.decision_made is None, getattr(one, "decision", None)
    entry = call_of(one.pk) if one.decision_made else None
    return OwnCall(
        state="waits" if waits else "on_record" if one.decision_made else "not_admitted",
        examined_at=datetime.fromisoformat(one.submission["at"]),
        position=entry.position if entry else None,
        decided=decided.position if decided else None,
        **_own(one, _made(one)),
    )


def own_logged(one: Call) -> OwnCall:
    return OwnCall(
        state="on_record",
        examined_at=one.examined_at,
        position=one.position,
        decided=None,
        **_own(one, msgspec.convert(one.body, CallMade)),
    )


def _own(one: Call | HeldCall, made: CallMade) -> dict[str, Any]:
    return {
        "id": one.pk,
        "animal": one.animal_id,
        "method": method_of(made.observed),
        "conclusion": made.conclusion,
        "sureness": made.sureness,
        "observed": made.observed,
        "identified": made.identified,
        "visit": UUID(made.visit) if made.visit else None,
        "corrected": made.corrected,
        "received_at": one.received_at,
        "note": texts_of([one.pk]).get((one.pk, "note")),
    }
