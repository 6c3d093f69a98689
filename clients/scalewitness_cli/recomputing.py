"""Computing the standing that the server shows of an animal again, from entries held to the log.

Those about the animal are held to the map of subjects (``whole``). What its standing rests on
besides (the policy in force, examiners' records, findings, checks filed anew) comes with the
proofs, each with its place in the tree. What a standing itself states of its calls is held to the
animal's entries as far as these tell (`AsAccepted`); whether somebody had an interest or a footing,
whoever made the call can tell.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeAlias, TypeVar
from uuid import UUID

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sexing.as_accepted import CODES, AsAccepted
from scalewitness.domain.sexing.parameters import UnknownVersion
from scalewitness.domain.sexing.recomputing import (
    KINDS,
    OrderedFact,
    RecomputedStanding,
    Recomputing,
)
from scalewitness.domain.sexing.stated_linkage import Origin
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.leaf import read_leaf
from scalewitness.domain.translog.proofs import verify_inclusion
from scalewitness.domain.translog.record_map import NotShown, Opening
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness_cli import replica
from scalewitness_cli.store import Store

T = TypeVar("T")
Shown = Mapping[str, Any]
Beside: TypeAlias = Sequence[OrderedFact]
"""Facts about something else, in the log's order; of one in a form that is not known here, the body
is None."""
JOINING = frozenset({"joining_proposed", "parting_proposed", "joining_answered"})
ROUNDED = 1.5e-6
"""By how much chances may differ: another machine's arithmetic may round the last of six decimals
otherwise."""
UNKNOWN = "it rests on entries in a form that is not known here"
SAME = ""
"""Computed again, with the same result."""


class NotComputed(Exception):
    """The standing cannot be computed here; the text says why, as a clause."""


@dataclass(frozen=True, slots=True)
class Entries:
    """What a standing may rest on: entries about its animal, about other records that may be of
    the same snake, and those that came ``beside`` the proofs, each in the log's order; and whether
    some of that is kept from the reader, None where the server does not say."""

    own: Sequence[Shown]
    others: Sequence[Shown]
    beside: Beside
    opening: Opening
    unread: bool | None

    @property
    def some_hidden(self) -> bool:
        """Whether the standing may rest on entries that are kept from the reader. The first is the
        registration: nothing of it counts but the species, which is shown."""
        hidden = {link.position for link in self.opening.hidden}
        first = min({one["position"] for one in self.own} | hidden, default=0)
        return bool(self.unread) or not hidden <= {first}


def beside_in(answer: Shown, head: Checkpoint) -> Beside:
    """The entries that came beside the proofs, by position, each held to the tree.

    Raises:
        NotShown, ValueError, KeyError, TypeError: one is not in it.
    """
    found = []
    for one in answer.get("rested_on", ()):
        entry, proof = decode64(one["entry"]), list(map(decode64, one["proof"]))
        at, leaf = one["position"], leaf_hash(entry)
        if not verify_inclusion(
            leaf_hash=leaf, index=at, size=head.size, proof=proof, root=head.root
        ):
            raise NotShown("an entry that standings rest on is not in the log")
        shown = read_leaf(entry)
        if shown.kind in KINDS and shown.about is not None:
            found.append(_ordered(at, msgspec.to_builtins(shown)))
    return found


def entries_here(
    store: Store, facts: Sequence[Shown], opening: Opening, beside: Beside, proof: Shown | None
) -> Entries:
    """What is here that the standing of an animal may rest on. ``facts``: all about it; ``proof``:
    the server's, which says whether more is kept from the reader."""
    others: list[Shown] = []
    if any(one["entry"]["kind"] in JOINING for one in facts):
        own = {one["entry"]["about"] for one in facts}
        joined = sorted(replica.about_joining(store) - own)
        others = [one for other in joined for one in replica.facts_about(store, other)]
    return Entries(facts, others, beside, opening, (proof or {}).get("unread"))


def computed_again(seen: Shown, entries: Entries, size: int) -> str | None:
    """`SAME`, or why the standing in force in a tree of that size cannot be computed here, as a
    clause; None: there is none.

    Raises:
        NotShown: it does not follow from the record.
    """
    own = [one for one in entries.own if one["position"] < size]
    stated = [one for one in own if one["entry"]["kind"] == "standing_changed"]
    if not stated:
        return None
    if entries.unread is None:
        return "the server does not say what it rests on"
    position = stated[-1]["position"]
    try:
        body = _read(stated[-1]["entry"], facts.StandingChanged)
        if body is None:
            return UNKNOWN
        again, misstated = _again(seen, entries, position, body)
        forged = _forged(body, again, entries, position)
        if not entries.some_hidden:  # a code that it bore, say
            forged = forged or misstated
    except NotComputed as why:
        return str(why)
    if forged is None:
        return SAME
    if entries.some_hidden:
        return "it rests on entries that you have no access to"
    raise NotShown(forged)


def _again(
    seen: Shown, entries: Entries, position: int, body: facts.StandingChanged
) -> tuple[RecomputedStanding, str | None]:
    """And what the animal's standings state of its calls otherwise than the record has it."""
    there, misstated = list(_in_order(entries, position)), list[str]()
    calls = {one.id: one for one in there if isinstance(one.body, facts.CallMade)}
    animal, recomputing = UUID(seen["id"]), Recomputing(calls.get)
    recomputing.past(animal).origin = Origin(seen["species"]["key"])
    accepted = AsAccepted(recomputing)
    try:
        for one in there:
            if isinstance(one.body, facts.StandingChanged):
                recomputing.admit(one.about, one.body)
                misstated += accepted.misstated(one.about, one.body)
                recomputing.stand(one.about, one.body)
            else:
                accepted.follow(one)
                recomputing.follow(one)
        recomputing.admit(animal, body)
        misstated += accepted.misstated(animal, body)
        return recomputing.work_out(animal, body), next(iter(misstated), None)
    except UnknownVersion as version:
        raise NotComputed(f"it was computed with numbers that are not here ({version})") from None
    except (KeyError, ValueError):
        raise NotComputed("not all that it rests on is here") from None


def _in_order(entries: Entries, before: int) -> Iterator[OrderedFact]:
    there = {one.position: one for one in entries.beside}
    for shown in (*entries.own, *entries.others):
        at, entry = shown["position"], shown["entry"]
        if entry["kind"] in KINDS | CODES:
            there[at] = _ordered(at, entry)
        elif entry["kind"] not in facts.BODIES:
            raise NotComputed("it may rest on entries of a kind that is not known here")
    for at, one in sorted(there.items()):
        if at < before:
            if one.body is None:
                raise NotComputed(UNKNOWN)
            yield one


def _ordered(position: int, entry: Shown) -> OrderedFact:
    by, at, about = entry["by"], parse_moment(entry["at"]), _id(entry["about"])
    body = _read(entry, facts.BODIES[entry["kind"]])
    return OrderedFact(entry["id"], _id(by) if by else None, at, position, about, body)


_id = lru_cache(maxsize=1024)(UUID)
"""Of animals and people, of which each is named many times."""


def _read(entry: Shown, kind: type[T]) -> T | None:
    """None where the body is in a form that is not known here."""
    try:
        return msgspec.convert(entry["body"], kind)
    except msgspec.ValidationError:
        return None


def _forged(
    stated: facts.StandingChanged, again: RecomputedStanding, entries: Entries, position: int
) -> str | None:
    """Why it does not follow, as a clause; None: it does."""
    if again.calls_elsewhere != stated.calls_elsewhere:
        if entries.some_hidden or JOINING & {one["entry"]["kind"] for one in entries.own}:
            raise NotComputed("checks of other records of the snake count with it")
        return "its standing counts checks of other records, and none is of the same snake"
    beside = [one for one in entries.beside if one.position < position]
    if again.policy != stated.policy:
        if not any(isinstance(one.body, facts.PolicyAdopted) for one in beside):
            raise NotComputed(f"its label is by {stated.policy}, which is not known here")
        return f"its label is by {stated.policy}, and {again.policy} was in force"
    records = [one.position for one in beside if isinstance(one.body, facts.ExaminerRecordChanged)]
    if max(records, default=-1) > _as_of(stated.examiner_records):
        return "its standing weighs examiners by older records than were in force"
    if _differs(stated, again):
        return (
            f"the standing shown, {_in_words(stated)}, does not follow from the record, which "
            f"comes to {_in_words(again)}"
        )
    return None


def _in_words(standing: facts.StandingChanged | RecomputedStanding) -> str:
    return (
        f"{standing.label} with a chance of male of {standing.p_male} "
        f"({standing.p_male_pessimistic} trusting every call less)"
    )


def _as_of(records: str) -> int:
    """The position of the newest examiner's record that the version names, -1 where there is
    none."""
    _, _, position = records.partition("records-")
    return int(position) if position.isdecimal() else -1


def _differs(stated: facts.StandingChanged, again: RecomputedStanding) -> bool:
    words = ("label", "verified_with")
    chances = ("p_male", "p_male_pessimistic")
    return any((getattr(stated, one) or "") != getattr(again, one) for one in words) or any(
        abs(float(getattr(stated, one)) - float(getattr(again, one))) > ROUNDED for one in chances
    )
