"""What it takes to verify wrong sexes, or to fell honest ones, with accounts that cost nothing.

    python deploy/bench/attack.py [--attempts N] [--random SEED]

A seller with n accounts does all that is free, in random order, about an animal of the other sex:
their own calls, blind invitations to each other, repeats by every method, reports and their
confirmations, by others or by an account that two of them confirm as a practice's, withdrawals, and
registering the animal anew. Some of the accounts have a footing: 8 settled blind calls for 2 honest
hosts each, or two honest keepers who vouch for them. Then the accounts go among 200 honest keepers
and contradict verified animals.

What changes no standing is left out: objections, findings on one's own animal, and vouchers between
new accounts, which the record refuses. It runs on the model and the rule of footings;
``tests/intake/test_attack.py`` plays such a story through the record, and holds both to one answer.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import log10
from pathlib import Path
from random import Random
from typing import Final

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from msgspec.structs import replace

from scalewitness.domain.observations import (
    Endoscopy,
    Observation,
    Pass,
    Probing,
    Reproduction,
    Sex,
    Visual,
)
from scalewitness.domain.sexing.case import Standing, case_of
from scalewitness.domain.sexing.evidence import Evidence, other
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.taxa import taxon

SPECIES: Final = taxon("python_regius")
NUMBERS: Final = load_parameters()
DAY: Final = 86_400_000
KEEPERS, ANIMALS, MOST, MOVES = 200, 5, 5, 8
"""Honest keepers, verified animals of each, accounts tried, and moves of one attack."""
INVITES, ANSWERS = 0.05, 0.5
"""Of 20 honest keepers one lets an account in that nobody knows, and every other has a contrary
call answered within the thirty days (assumed: nobody has counted either)."""
CHECKS = ("call", "call", "call", "weak", "end")
EVERYTHING = (*CHECKS, "eggs", "report", "confirm", "practice")
"""What an account does; the first alone claim no eggs and no report."""
DEPTHS: Final[dict[Sex, str]] = {"male": "9", "female": "3"}


def drawn_from(number: int) -> Random:
    """The same again for whoever checks it."""
    return Random(number)  # noqa: S311


def standing(calls: Sequence[Evidence]) -> Standing:
    return case_of(calls, SPECIES, EMPTY, NUMBERS).standing(DEFAULT_POLICY)


def probing(sex: Sex) -> Probing:
    return Probing(tuple(Pass(side, DEPTHS[sex], "resistance") for side in ("left", "right")))


@dataclass
class Attack:
    """The accounts are numbered: 0 keeps and sells the animal, those below ``footed`` after it
    have a footing, the others are new. ``wrong``: the sex that they claim."""

    accounts: int
    footed: int
    wrong: Sex = "female"
    calls: list[Evidence] = field(default_factory=list)
    made: int = 0
    looked: set[int] = field(default_factory=set)
    """Accounts with a call on this animal, also a withdrawn one: no more of theirs is blind."""

    def has_footing(self, account: int) -> bool:
        """The seller's own helps nothing, since a seller has a share."""
        return 1 <= account <= self.footed

    def call(self, account: int, observed: Observation) -> None:
        """A blind one, but the keeper's own, who knows what was said before."""
        self.made += 1
        own, known = account == 0, bool(self.calls)
        seen_by_keeper = own and isinstance(observed, Reproduction)
        self.calls.append(
            Evidence(
                call=f"call-{self.made}",
                examiner=f"account-{account}",
                role="keeper",
                at=self.made * DAY,
                position=self.made,
                stage="adult",
                conclusion=self.wrong,
                sureness="certain",
                observed=observed,
                identity="confirmed",
                blind=not own and account not in self.looked,
                interested=own,
                anchored_to=self.wrong if known and (own or account in self.looked) else None,
                report="unconfirmed" if seen_by_keeper else "own",
                newcomer=not self.has_footing(account),
            )
        )
        self.looked.add(account)

    def report(self) -> None:
        """An endoscopy by a veterinarian who never saw it, at the seller's word."""
        self.call(0, Endoscopy("ovaries" if self.wrong == "female" else "testes"))
        made = self.calls[-1]
        self.calls[-1] = replace(
            made, examiner="a veterinarian", role="veterinarian", report="unconfirmed"
        )

    def confirm(self, account: int, *, as_practice: bool = False) -> None:
        """Somebody else says that they read the report, or saw the eggs too; or two accounts state
        that a third is the practice's that the report names, and it confirms it. That takes two
        with a footing of their own, who are tied neither to the seller nor to each other."""
        if not account or (as_practice and (self.footed < 2 or self.accounts < 4)):
            return
        for place, one in enumerate(self.calls):
            if one.report == "unconfirmed" and (one.role != "keeper" or not as_practice):
                new = not (as_practice or self.has_footing(account))
                self.calls[place] = replace(one, report="confirmed", newcomer=new)

    def move(self, random: Random, kinds: Sequence[str]) -> None:
        account = random.randrange(self.accounts)
        match random.choice(kinds):
            case "call":
                self.call(account, probing(self.wrong))
            case "weak":
                self.call(account, Visual("tail"))
            case "eggs":
                if self.wrong == "female":
                    self.call(account, Reproduction(event="laid_eggs", witnessed=True))
            case "report":
                self.report()
            case "confirm" | "practice" as way:
                self.confirm(account, as_practice=way == "practice")
            case "end" if self.calls:
                self.end(random)

    def end(self, random: Random) -> None:
        """A call is withdrawn, or the animal is registered anew, as if nobody had looked."""
        if random.random() < 0.5:
            self.calls.pop(random.randrange(len(self.calls)))
        else:
            self.calls.clear()
            self.looked.clear()

    def verified(self) -> bool:
        return standing(self.calls).label == f"verified {self.wrong}"


# --- verifying ------------------------------------------------------------------------


def succeeds(
    accounts: int, footed: int, attempts: int, random: Random, kinds: Sequence[str] = EVERYTHING
) -> int | None:
    """The fewest days in which an attack verified the wrong sex; None: none of them did."""
    days = []
    for _ in range(attempts):
        attack = Attack(accounts, footed, random.choice(("male", "female")))
        for _ in range(MOVES):
            attack.move(random, kinds)
            if attack.verified():
                days.append(len({one.at for one in attack.calls}))
                break
    return min(days, default=None)


def crowds() -> Iterator[tuple[int, int]]:
    """Accounts in all, and those among them with a footing."""
    for accounts in range(1, MOST + 1):
        for footed in range(accounts):
            yield accounts, footed


# --- felling --------------------------------------------------------------------------


def honest(sex: Sex = "male") -> list[Evidence]:
    """The keeper's own call and those of two blind guests, one of them with a footing."""
    attack = Attack(3, 1, sex)
    for account in range(3):
        attack.call(account, probing(sex))
    return [replace(one, examiner=f"honest-{n}") for n, one in enumerate(attack.calls)]


def falls(contrary: int, *, footed: bool, unanswered: bool) -> bool:
    """Whether an honest verified male falls: contrary calls of newcomers wait for a second voice,
    or for thirty days without an answer."""
    if not contrary or (contrary == 1 and not footed and not unanswered):
        return False
    calls = honest()
    against = Attack(contrary + 1, contrary if footed else 0, "female", made=len(calls))
    for account in range(1, contrary + 1):
        against.call(account, probing("female"))
    return not standing([*calls, *against.calls]).label.startswith("verified")


def felled(accounts: int, *, footed: bool, random: Random) -> int:
    """Of all honest verified animals, how many fall by so many accounts in one round of visits."""
    rule = {
        (count, late): falls(count, footed=footed, unanswered=late)
        for count in range(accounts + 1)
        for late in (False, True)
    }
    total = 0
    for _ in range(KEEPERS):
        let_in = sum(random.random() < INVITES for _ in range(accounts))
        total += ANIMALS * rule[let_in, random.random() >= ANSWERS]
    return total


# --- one account ----------------------------------------------------------------------


def log_odds(calls: Sequence[Evidence]) -> float:
    p = standing(calls).p_male
    return log10(p / (1 - p))


def moved_by_one(most: int, attempts: int, random: Random) -> Iterator[tuple[float, float]]:
    """How far one account's ``most`` calls at most moved an honest animal that is not verified yet,
    and how far its strongest call would have moved an animal of which nothing is known; log10 of
    the odds."""
    for _ in range(attempts):
        sex: Sex = random.choice(("male", "female"))
        calls = honest(sex)[: random.randrange(1, 4)]
        one = Attack(2, random.randrange(2), other(sex), made=len(calls))
        for _ in range(random.randrange(1, most + 1)):
            one.call(1, random.choice((probing(other(sex)), Visual("tail"))))
        alone = max(abs(log_odds([replace(call, anchored_to=None)])) for call in one.calls)
        yield abs(log_odds([*calls, *one.calls]) - log_odds(calls)), alone


# --- printing -------------------------------------------------------------------------


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--attempts", type=int, default=300)
    asked.add_argument("--random", type=int, default=1)
    given = asked.parse_args()
    random = drawn_from(given.random)
    print(f"Verifying a wrong sex: {given.attempts} attacks of {MOVES} moves each\n")
    print("| accounts | with a footing | settled calls for honest hosts | days | by checks alone |")
    print("|---|---|---|---|---|")
    for crowd in crowds():
        all_ways, checks = (
            succeeds(*crowd, given.attempts, random, kinds) or "never"
            for kinds in (EVERYTHING, CHECKS)
        )
        print(f"| {crowd[0]} | {crowd[1]} | {8 * crowd[1]} | {all_ways} | {checks} |")
    print(f"\nFelling honest ones: of {KEEPERS * ANIMALS} verified animals of {KEEPERS} keepers\n")
    print("| accounts | new | with a footing |")
    print("|---|---|---|")
    for accounts in range(1, MOST + 1):
        new, known = (felled(accounts, footed=one, random=random) for one in (False, True))
        print(f"| {accounts} | {new} | {known} |")
    for calls in (1, MOVES):
        far = max(far / alone for far, alone in moved_by_one(calls, given.attempts, random))
        print(f"\n{calls} calls at most of one account moved an honest animal by {far:.2f} times")
        print("what its strongest call says by itself, at most.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
