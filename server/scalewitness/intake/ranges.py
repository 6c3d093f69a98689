"""What no type can say: values that are well-formed and still impossible."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import singledispatch
from typing import Any

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.errors import FutureDate, OutOfRange, WrongShape
from scalewitness.domain.genetics.stated import SEEN
from scalewitness.domain.identifiers import parse_tag, parse_transponder
from scalewitness.domain.methods import METHODS
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.observations import (
    DEEPEST,
    PROBE_MM,
    Parentage,
    Probing,
    Reproduction,
    TailLength,
    method_of,
    saw_both,
)
from scalewitness.domain.season.events import COUNTED
from scalewitness.domain.sexing.linked_trait import ImpossibleYoung, linked_traits
from scalewitness.domain.sexing.stated_linkage import chance_alone
from scalewitness.domain.sexing.taxa import UnknownSpecies, taxon
from scalewitness.domain.translog.signatures import is_public_key

LONGEST_VISIT = timedelta(days=92)
"""A visit is an occasion, not a standing arrangement (our judgement)."""
OLDEST = date(1950, 1, 1)


def check_ranges(body: facts.Body, received_at: datetime) -> None:
    """Refuse impossible values in a well-shaped body.

    Raises:
        OutOfRange, FutureDate, WrongShape: with a JSON pointer into the submission.
    """
    _no_control_characters(body)
    _check(body, received_at)


def _no_control_characters(body: facts.Body) -> None:
    """PostgreSQL cannot store NUL, and no code or trait holds any other control."""
    written = msgspec.json.encode(body)
    if b"\\" in written or not written.decode().isprintable():
        _find_control_characters(msgspec.to_builtins(body), "/body")


def _find_control_characters(value: Any, pointer: str) -> None:
    if isinstance(value, str) and not value.isprintable():
        raise OutOfRange("Control characters are not possible here.", pointer=pointer)
    if isinstance(value, dict):
        for key, inner in value.items():
            _find_control_characters(inner, f"{pointer}/{key}")
    elif isinstance(value, list | tuple):
        for index, inner in enumerate(value):
            _find_control_characters(inner, f"{pointer}/{index}")


@singledispatch
def _check(body: facts.Body, received_at: datetime) -> None:
    """Bodies without further limits."""


@_check.register
def _joining(body: facts.JoiningProposed, received_at: datetime) -> None:
    _code("transponder", body.code, "/body/code")


@_check.register
def _quote(body: facts.RecordQuoted, received_at: datetime) -> None:
    _code(body.scheme, body.code, "/body/code")


@_check.register
def _particulars(body: facts.Particulars, received_at: datetime) -> None:
    try:
        taxon(body.species)
    except UnknownSpecies as unknown:
        raise OutOfRange(str(unknown), pointer="/body/species") from None
    if body.hatched:
        hatched = _day(body.hatched, "/body/hatched")
        if hatched > received_at.date() + timedelta(days=1):
            raise FutureDate("The hatch date lies in the future.", pointer="/body/hatched")
        if hatched < OLDEST:
            raise OutOfRange("No snake is that old.", pointer="/body/hatched")
    for index, trait in enumerate(body.traits):
        if "@" in trait or "," in trait:
            raise OutOfRange(
                "A trait is a word for a colour or pattern.", pointer=f"/body/traits/{index}"
            )
    if body.sire and body.sire == body.dam:
        raise OutOfRange("Sire and dam are the same animal.", pointer="/body/dam")


@_check.register
def _pairing(body: facts.PairingPlanned, received_at: datetime) -> None:
    if body.sire == body.dam:
        raise OutOfRange("Sire and dam are the same animal.", pointer="/body/dam")


@_check.register
def _season_note(body: facts.SeasonNoted, received_at: datetime) -> None:
    if _day(body.on, "/body/on") > received_at.date() + timedelta(days=1):
        raise FutureDate("That day has not come yet.", pointer="/body/on")
    for counted in {one for names in COUNTED.values() for one in names}:
        if getattr(body, counted) is not None and counted not in COUNTED.get(body.what, ()):
            raise OutOfRange("Nothing of that is counted here.", pointer=f"/body/{counted}")


@_check.register
def _linkage(body: facts.LinkageStated, received_at: datetime) -> None:
    if body.trait not in linked_traits():
        raise OutOfRange("No trait of that name is known to be linked.", pointer="/body/trait")
    if body.sire == body.dam:
        raise OutOfRange("Sire and dam are the same animal.", pointer="/body/dam")
    if not Decimal(body.recombination) <= Decimal("0.5"):
        raise OutOfRange(
            "A fraction of recombination lies between 0 and one half.",
            pointer="/body/recombination",
        )
    try:
        chance_alone(body)
    except ImpossibleYoung:
        raise OutOfRange("Such parents have no such young.", pointer="/body/shows") from None
    except ValueError as problem:
        raise OutOfRange(f"There is {problem}.", pointer="/body/beside") from None


@_check.register
def _identifier(body: facts.IdentifierAssigned, received_at: datetime) -> None:
    _code(body.scheme, body.code, "/body/code")


@_check.register
def _arrival(body: facts.ArrivalCompared, received_at: datetime) -> None:
    if body.read:
        _code("transponder", body.read, "/body/read")


@_check.register
def _husbandry(body: facts.HusbandryNoted, received_at: datetime) -> None:
    if isinstance(body.noted, facts.Weight) and not Decimal(body.noted.grams):
        raise OutOfRange("A snake weighs more than nothing.", pointer="/body/noted/grams")
    if isinstance(body.noted, facts.PlainRemark) and body.note is None:
        raise WrongShape("Say in words what you noticed.", pointer="/texts/note")


@_check.register
def _grant(body: facts.GrantGiven, received_at: datetime) -> None:
    if body.until and _moment(body.until, "/body/until") <= received_at:
        raise OutOfRange("The grant would already be over.", pointer="/body/until")
    if body.role == "partner" and body.animals is not None:
        raise WrongShape("A partner shares the whole collection.", pointer="/body/animals")


@_check.register
def _device_key(body: facts.DeviceKeyEnrolled, received_at: datetime) -> None:
    if not is_public_key(bytes.fromhex(body.key)):
        raise OutOfRange("Anyone could sign for this key.", pointer="/body/key")


@_check.register
def _trait(body: facts.TraitStated, received_at: datetime) -> None:
    if body.locus is None and body.words is None:
        raise WrongShape("Name a trait, or state it in words.", pointer="/body/locus")
    if body.locus is not None and body.words is not None:
        raise WrongShape("Name a trait or use words, not both.", pointer="/body/words")
    if body.allele is not None and body.locus is None:
        raise WrongShape("Only a named trait has alleles.", pointer="/body/allele")
    if body.basis == "seen" and body.says not in SEEN:
        raise OutOfRange(
            "Looking at it tells whether it shows a trait, no more.", pointer="/body/basis"
        )
    _chance_sold(body)
    _laboratory(body)


def _chance_sold(body: facts.TraitStated) -> None:
    if (body.says == "may_carry") != (body.chance is not None):
        raise WrongShape(
            "Give the chance with which it may carry it, and only then.", pointer="/body/chance"
        )
    if body.chance is not None and not 0 < Decimal(body.chance) < 1:
        raise OutOfRange("Such a chance lies between 0 and 1.", pointer="/body/chance")


def _laboratory(body: facts.TraitStated) -> None:
    if body.basis == "dna" and body.laboratory is None:
        raise WrongShape("Name the laboratory.", pointer="/texts/laboratory")
    if body.basis != "dna" and (body.laboratory or body.sample):
        raise WrongShape("Only a DNA test has a laboratory.", pointer="/body/basis")


@_check.register
def _visit(body: facts.VisitInvited, received_at: datetime) -> None:
    opens, closes = _moment(body.opens, "/body/opens"), _moment(body.closes, "/body/closes")
    if not opens < closes or closes - opens > LONGEST_VISIT:
        raise OutOfRange(
            f"A visit closes after it opens, within {LONGEST_VISIT.days} days.",
            pointer="/body/closes",
        )
    if closes <= received_at:
        raise OutOfRange("The visit would already be over.", pointer="/body/closes")
    if len(set(body.animals)) != len(body.animals):
        raise OutOfRange("An animal is named twice.", pointer="/body/animals")


@_check.register
def _call(body: facts.CallMade, received_at: datetime) -> None:
    if isinstance(body.observed, Probing):
        _probing(body.observed)
    if isinstance(body.observed, Reproduction) and body.conclusion != "female":
        raise OutOfRange(
            "Eggs or young prove the dam: the conclusion is female.", pointer="/body/conclusion"
        )
    if isinstance(body.observed, Parentage):
        _parentage(body.observed, body.conclusion)
    whose = METHODS[method_of(body.observed)].only_of_a
    if whose and (body.reported is None or body.reported.role != whose):
        raise OutOfRange(
            f"Only a {whose} does this: report it as theirs.", pointer="/body/reported"
        )
    if isinstance(body.observed, TailLength) and body.observed.tail_mm >= body.observed.total_mm:
        raise OutOfRange(
            "The tail is a part of the whole length.", pointer="/body/observed/total_mm"
        )
    _undetermined(body)
    by, code = body.identified.by, body.identified.code
    if by in {"transponder", "tag"}:
        if code is None:
            raise WrongShape("Give the code that was read.", pointer="/body/identified/code")
        _code(by, code, "/body/identified/code")


def _undetermined(body: facts.CallMade) -> None:
    if saw_both(body.observed) and body.conclusion != "undetermined":
        raise OutOfRange(
            "Organs of both sexes make it neither male nor female: the conclusion is undetermined.",
            pointer="/body/conclusion",
        )
    if body.conclusion == "undetermined" and body.sureness == "certain":
        raise OutOfRange("One is not certain of an undetermined sex.", pointer="/body/sureness")


def _parentage(observed: Parentage, conclusion: str) -> None:
    proved = observed.proves or "undetermined"
    if conclusion != proved:
        raise OutOfRange(
            f"With what this test showed, the conclusion is {proved}.", pointer="/body/conclusion"
        )


def _probing(observed: Probing) -> None:
    for index, one in enumerate(observed.passes):
        if one.scales > DEEPEST:
            raise OutOfRange(
                f"No probe glides deeper than {DEEPEST} subcaudal scales.",
                pointer=f"/body/observed/passes/{index}/depth",
            )
    if len(observed.passes) > 12:
        raise OutOfRange(
            "More than twelve passes on one occasion is not a check.",
            pointer="/body/observed/passes",
        )
    if observed.probe_mm and not PROBE_MM[0] <= Decimal(observed.probe_mm) <= PROBE_MM[1]:
        raise OutOfRange(
            f"Probes are {PROBE_MM[0]} to {PROBE_MM[1]} mm thick.",
            pointer="/body/observed/probe_mm",
        )


@_check.register
def _offer(body: facts.OfferMade, received_at: datetime) -> None:
    if _moment(body.expires, "/body/expires") <= received_at:
        raise OutOfRange("The offer would already have lapsed.", pointer="/body/expires")


@_check.register
def _finding(body: facts.FindingRecorded, received_at: datetime) -> None:
    calls = (*body.set_aside, *body.proposed)
    if (body.outcome == "call_set_aside") != bool(calls):
        raise OutOfRange(
            "Name the calls set aside, and only with that outcome.", pointer="/body/set_aside"
        )
    if len(set(calls)) < len(calls):
        raise OutOfRange("Name each call once.", pointer="/body/set_aside")
    if body.arbiter and body.basis != "arbiter":
        raise OutOfRange(
            "Name an arbiter only for a finding on their word.", pointer="/body/arbiter"
        )


@_check.register
def _finding_answer(body: facts.FindingAnswered, received_at: datetime) -> None:
    if body.set_aside and not body.agrees:
        raise OutOfRange("Only who agrees sets a call aside.", pointer="/body/set_aside")


def _code(scheme: str, code: str, pointer: str) -> None:
    if "@" in code:
        raise OutOfRange("A code names an animal, never a person.", pointer=pointer)
    try:
        if scheme == "transponder":
            parse_transponder(code)
        else:
            parse_tag(code)
    except ValueError as problem:
        raise OutOfRange(str(problem), pointer=pointer) from None


def _day(text: str, pointer: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise OutOfRange("There is no such day.", pointer=pointer) from None


def _moment(text: str, pointer: str) -> datetime:
    try:
        return parse_moment(text)
    except ValueError:
        raise OutOfRange("There is no such moment.", pointer=pointer) from None
