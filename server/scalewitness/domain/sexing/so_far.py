"""What the facts about an animal tell of its sex: the calls, and what the record stated of each."""

from collections.abc import Container, Hashable, Set
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from scalewitness.domain import facts
from scalewitness.domain.identifiers import plain_code
from scalewitness.domain.observations import method_of
from scalewitness.domain.photos_compared import after_comparisons
from scalewitness.domain.sexing.evidence import Compared, Evidence, Identity, Report, as_sent
from scalewitness.domain.sexing.kept import Before
from scalewitness.domain.sexing.stated_linkage import Origin


def identity_by(read: facts.Identification, codes: Container[str]) -> Identity:
    """Of an animal that bears these codes, by what was read at a check."""
    if read.by not in {"transponder", "tag"} or read.code is None:
        return "unconfirmed"
    if plain_code(read.by, read.code) not in codes:
        return "mismatch"
    return "confirmed" if read.by == "transponder" else "tub_tag"


@dataclass(slots=True)
class AnimalSoFar:
    """An animal as the log tells it so far."""

    origin: Origin = field(default_factory=lambda: Origin(""))
    linkage: facts.LinkageStated | None = None
    made: dict[str, tuple[facts.CallMade, str, datetime, int]] = field(default_factory=dict)
    known: dict[str, facts.Circumstance] = field(default_factory=dict)
    gone: set[str] = field(default_factory=set)
    reports: dict[str, facts.ReportStands] = field(default_factory=dict)
    waiting: set[str] = field(default_factory=set)
    parted: set[str] = field(default_factory=set)
    joined: set[str] = field(default_factory=set)
    before: Before = field(default_factory=Before)
    known_elsewhere: bool = False
    photos: dict[str, list[tuple[Hashable, Compared]]] = field(default_factory=dict)

    def admit(self, stated: facts.StandingChanged) -> None:
        """What a standing states of calls, and rests on itself."""
        self.known |= {known.call: known for known in stated.admitted}
        self.reports |= {one.call: one for one in stated.reports}
        self.waiting |= {known.call for known in stated.admitted if known.waits}
        self.parted |= set(stated.parted)
        self.joined |= set(stated.joined)

    def stand(self, stated: facts.StandingChanged) -> None:
        """The next standing follows this one."""
        self.known_elsewhere = stated.known_elsewhere
        self.before = Before(
            stated.label, stated.p_male, stated.parameters, stated.verified_with or ""
        )

    def evidence(self, deceivers: Set[str] = frozenset()) -> list[Evidence]:
        """The calls that count. ``deceivers``: whom a finding of deceit names, by their ids."""
        return [
            as_evidence(
                body,
                self.known[call],
                sender=sender,
                at=at,
                position=position,
                deceived=sender in deceivers,
                parted=call in self.parted,
                joined=call in self.joined,
                compared=after_comparisons(self.photos.get(call, ())),
                **self._reported(call),
            )
            for call, (body, sender, at, position) in self.made.items()
            if self.counts(call)
        ]

    def counts(self, call: str) -> bool:
        """Whether a call was stated, stands, and waits for nothing."""
        return call in self.known and call not in self.gone and call not in self.waiting

    def first_check(self, code: str, until: int, deceivers: Set[str]) -> int | None:
        """Where it was first checked by somebody else under the code; or, before that position, at
        all: in their own word, which has a footing, and without an interest."""
        found = (
            position
            for call, (body, sender, _, position) in self.made.items()
            if self.counts(call)
            and body.reported is None
            and sender not in deceivers
            and call not in self.joined
            and is_disinterested(self.known[call])
            and (position < until or was_read(body.identified, self.known[call], code))
        )
        return min(found, default=None)

    def _reported(self, call: str) -> dict[str, Any]:
        stands = self.reports.get(call)
        if stands is None:
            return {}
        return {"report": stands.report, "report_footing": stands.footing}


def is_disinterested(known: facts.Circumstance) -> bool:
    """Whether a check is the word of somebody with a footing and without a share in it."""
    shares = known.interested or known.one_with is not None
    return not shares and known.footing != "none" and known.identity != "mismatch"


def was_read(identified: facts.Identification, known: facts.Circumstance, code: str) -> bool:
    """Whether this transponder's code was read at the check."""
    if known.identity != "confirmed" or identified.by != "transponder" or not identified.code:
        return False
    return plain_code(identified.by, identified.code) == code


def as_evidence(
    body: facts.CallMade,
    known: facts.Circumstance,
    *,
    sender: str,
    at: datetime,
    position: int,
    report: Report | None = None,
    report_footing: str | None = None,
    deceived: bool = False,
    parted: bool = False,
    joined: bool = False,
    compared: Compared | None = None,
) -> Evidence:
    """The same value whether it comes from a row or from the log alone. ``report``: what the
    record last stated of it as a report, with the ``report_footing`` of who confirmed it;
    ``compared``: what it made of its photos; None where nobody spoke of it. ``deceived``: whoever
    sent it is named in a finding of deceit; ``joined``: that they are one
    with another examiner; ``parted``: that they count for themselves again."""
    reported = body.reported
    unsupported = report_footing == "none" if report else deceived or known.footing == "none"
    return Evidence(
        call=known.call,
        examiner=reported.who if reported else sender,
        role=reported.role if reported else "keeper",
        at=round(at.timestamp() * 1000),
        position=position,
        stage=known.stage,
        conclusion=body.conclusion,
        sureness=body.sureness,
        observed=body.observed,
        identity=known.identity,
        blind=known.blind,
        interested=known.interested,
        anchored_to=known.anchored_to,
        compared=compared,
        newcomer=unsupported,
        same_person=(joined or known.one_with is not None) and not parted,
        report=report
        or as_sent(
            method_of(body.observed), reported=reported is not None, interested=known.interested
        ),
    )
