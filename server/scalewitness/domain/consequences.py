"""What follows when an animal's standing changes: a pure function of values.

The caller writes what comes back in the transaction of the fact that caused it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from scalewitness.domain.facts import Representation
from scalewitness.domain.facts.animals import PlanChange
from scalewitness.domain.observations import Conclusion, Sex
from scalewitness.domain.sales import LIVE, RELIED_ON, UNPAID, State

Reliance = Literal["stands", "fell", "reversed"]
Change = Literal["fell", "reversed", "restored"]
HoldReason = Literal[
    "standing_fell",
    "standing_reversed",
    "standing_changed",
    "contrary_call_waits",
    "claim_fell",
    "claim_withdrawn",
]
ClaimReliance = Literal["stands", "fell", "withdrawn"]
ClaimChange = Literal["fell", "withdrawn", "restored"]


@dataclass(frozen=True, slots=True)
class SaleView:
    """A sale of the animal as consequences see it. ``disclosed``: what the buyer last heard."""

    sale: str
    buyer: str
    state: State
    held: bool
    represented: Representation
    disclosed: Reliance = "stands"


@dataclass(frozen=True, slots=True)
class Hold:
    sale: str
    reason: HoldReason


@dataclass(frozen=True, slots=True)
class Disclose:
    sale: str
    buyer: str
    change: Change
    was: Representation


@dataclass(frozen=True, slots=True)
class ClaimedSale:
    """A sale whose offer represents a claim. ``disclosed``: what the buyer last heard of it."""

    sale: str
    state: State
    held: bool
    disclosed: ClaimReliance = "stands"


@dataclass(frozen=True, slots=True)
class DiscloseClaim:
    sale: str
    change: ClaimChange


@dataclass(frozen=True, slots=True)
class ReplanForClaim:
    """The keepers of both animals of these pairings hear what became of the claim."""

    pairings: tuple[str, ...]
    change: ClaimChange


@dataclass(frozen=True, slots=True)
class OpenDispute:
    sale: str | None


@dataclass(frozen=True, slots=True)
class NotifyKeepers:
    """The holder and partners hear that a verified standing changed."""

    change: Change


@dataclass(frozen=True, slots=True)
class PairingView:
    """A planned pairing of the animal: the sex it is planned as, and whether the record ever
    verified that while it was planned."""

    pairing: str
    sex: Sex
    was_verified: bool


@dataclass(frozen=True, slots=True)
class Affected:
    pairing: str
    sex: Sex
    change: PlanChange


@dataclass(frozen=True, slots=True)
class Replan:
    """The keepers of both animals of these pairings hear that what they planned on changed."""

    pairings: tuple[Affected, ...]


@dataclass(frozen=True, slots=True)
class AskForRecheck:
    """The keepers hear that a newcomer's contrary call waits, and what they can do."""


Consequence = Hold | Disclose | OpenDispute | NotifyKeepers | Replan | AskForRecheck


OfClaim = Hold | DiscloseClaim | ReplanForClaim


def of_claim(
    now: ClaimReliance,
    sales: Sequence[ClaimedSale],
    pairings: Sequence[str] = (),
    *,
    fell: bool = False,
) -> tuple[OfClaim, ...]:
    """All that is owed to those who relied on a claim once it stands so, and who planned
    ``pairings`` of the animal. ``fell``: before. Whoever heard that it fell is told no second time
    when it is also taken back."""
    found: list[OfClaim] = [one for sale in sales if (one := _of_claim_in(sale, now)) is not None]
    if pairings and fell == (now == "stands"):
        change: ClaimChange = "restored" if now == "stands" else now
        found.append(ReplanForClaim(tuple(pairings), change))
    return tuple(found)


def _of_claim_in(sale: ClaimedSale, now: ClaimReliance) -> Hold | DiscloseClaim | None:
    if sale.state in UNPAID:
        if now == "stands" or sale.held:
            return None
        return Hold(sale.sale, "claim_fell" if now == "fell" else "claim_withdrawn")
    gone = sale.disclosed != "stands" and now != "stands"
    if sale.state not in RELIED_ON or gone or sale.disclosed == now:
        return None
    return DiscloseClaim(sale.sale, "restored" if now == "stands" else now)


def sex_of(label: str) -> Sex | None:
    """The sex a label names, if it names one."""
    word = label.rpartition(" ")[2]
    if word == "male":
        return "male"
    return "female" if word == "female" else None


def sex_expected(label: str, latest_first: Iterable[Conclusion]) -> Sex | None:
    """The sex that someone who can read the record expects of an animal: the one its label names,
    else that of the latest conclusive call that counts; None: neither tells of one."""
    return sex_of(label) or next((one for one in latest_first if one != "undetermined"), None)


def verified_sex(label: str) -> Sex | None:
    return sex_of(label) if label.startswith("verified ") else None


def reliance(represented: Sex, now: str) -> Reliance:
    """How a label looks to someone who relied on ``represented`` as verified."""
    verified = verified_sex(now)
    if verified == represented:
        return "stands"
    return "fell" if verified is None else "reversed"


def consequences(
    before: str,
    after: str,
    sales: Sequence[SaleView],
    pairings: Sequence[PairingView] = (),
    *,
    dispute_open: bool,
    stood: Sex | None = None,
    contrary_waits: bool = False,
) -> tuple[Consequence, ...]:
    """All that is owed when a standing's label goes from ``before`` to ``after``. ``stood``: the
    sex verified last, where ``before`` verifies none.

    Holds and disclosures look at what each sale represented rather than at ``before``,
    so a history that arrives in any order owes the same letters.
    """
    found: list[Consequence] = []
    for sale in sales:
        found += _for_sale(sale, after) or _while_it_waits(sale, contrary_waits)
    live = [sale for sale in sales if sale.state in LIVE]
    if after == "contested" and live and not dispute_open:
        found.append(OpenDispute(live[-1].sale))
    change = _verified_change(verified_sex(before) or stood, before, after)
    if change is not None:
        found.append(NotifyKeepers(change))
    affected = [one for pairing in pairings for one in _for_pairing(pairing, before, after)]
    if affected:
        found.append(Replan(tuple(affected)))
    if contrary_waits:
        found.append(AskForRecheck())
    return tuple(found)


def _for_sale(sale: SaleView, after: str) -> list[Consequence]:
    if sale.state in UNPAID and not sale.held:
        reason = _hold_reason(sale.represented.label, after)
        return [Hold(sale.sale, reason)] if reason else []
    relied_on = verified_sex(sale.represented.label)
    if sale.state not in RELIED_ON or relied_on is None:
        return []
    now = reliance(relied_on, after)
    if now == sale.disclosed:
        return []
    change: Change = "restored" if now == "stands" else now
    return [Disclose(sale.sale, sale.buyer, change, sale.represented)]


def _while_it_waits(sale: SaleView, contrary_waits: bool) -> list[Consequence]:
    """What was offered as verified is offered anew, so that the buyer reads of the doubt."""
    if not contrary_waits or sale.state not in UNPAID or sale.held:
        return []
    return [Hold(sale.sale, "contrary_call_waits")] if verified_sex(sale.represented.label) else []


def _hold_reason(represented: str, after: str) -> HoldReason | None:
    """An unpaid sale is held when what was offered no longer holds; better is no reason."""
    promised = sex_of(represented)
    if promised is None:
        return "standing_changed" if represented != after and after != "unsexed" else None
    if sex_of(after) not in {None, promised}:
        return "standing_reversed"
    if after in {represented, f"verified {promised}"}:
        return None
    return "standing_fell"


def _verified_change(stood: Sex | None, before: str, after: str) -> Change | None:
    """Keepers who were told of a fall are told how it ended."""
    was, now = verified_sex(before), verified_sex(after)
    if was == now or stood is None:
        return None
    if now is None:
        return "fell"
    return "restored" if now == stood else "reversed"


def may_affect_pairings(before: str, after: str) -> bool:
    """Whether pairings need be looked up at all: they rest on the sex that a label names."""
    return any(_supports(sex, before) != _supports(sex, after) for sex in get_args(Sex))


def _supports(sex: Sex, label: str) -> Literal["stands", "fell", "reversed", "turned"]:
    """How a label looks to someone who planned on ``sex``."""
    found = reliance(sex, label)
    return "turned" if found == "fell" and sex_of(label) not in {None, sex} else found


def _for_pairing(pairing: PairingView, before: str, after: str) -> list[Affected]:
    """Nobody is told that what they took for granted is verified now, unless it was before or they
    heard of a doubt."""
    was, now = _supports(pairing.sex, before), _supports(pairing.sex, after)
    if was == now or (now == "stands" and was == "fell" and not pairing.was_verified):
        return []
    change: PlanChange = "restored" if now == "stands" else now
    if (was, now) == ("turned", "fell"):
        change = "eased"
    return [Affected(pairing.pairing, pairing.sex, change)]
