"""The rules of :mod:`labels` over columns: what each record may be called.

A record in which nothing strong contradicts anything needs only its last view. For the
others every view of the log, from the first call on, becomes an animal of its own, all are
worked out together, and the walk through the history goes step by step for all at once.
"""

from typing import NamedTuple

import numpy as np

from scalewitness.domain.sexing.columns import (
    FEMALE,
    MALE,
    NEITHER,
    Columns,
    Common,
    Flags,
    Floats,
    Ints,
    Rows,
)
from scalewitness.domain.sexing.labels import EVEN
from scalewitness.domain.sexing.likelihood import log_odds
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.vectors import Sessions, weigh

_CLOSE = 1e-9  # nearer than this to a threshold, rounding could decide the label


class Views(NamedTuple):
    """One row per animal: probabilities, the favoured sex, and for (male, female) whether
    the rule is met, a session is strong, any is decisive, the other sex was concluded;
    ``latest`` is where the latest strong session began, ``newest`` the strong sex of the
    last call; ``close`` marks rows too near a threshold to be trusted."""

    p_male: Floats
    p_pessimistic: Floats
    favoured: Ints
    any_session: Flags
    met: Ints
    strong: tuple[Flags, Flags]
    decisive: tuple[Flags, Flags]
    concluded: tuple[Flags, Flags]
    latest: tuple[Ints, Ints]
    newest: Ints
    close: Flags


class Courses(NamedTuple):
    """Where each history has led: the verified sex, or the one that fell."""

    verified: Ints
    fallen: Ints
    close: Flags


def views(rows: Rows, columns: Columns, prior_male: Floats, policy: Policy) -> Views:
    """Every animal as it stands with exactly these rows."""
    count = prior_male.size
    base = weigh(rows, columns.base, columns.common, prior_male)
    pessimistic = weigh(rows, columns.pessimistic, columns.common, prior_male)
    marks = _Marks(rows, base.sessions, columns.common, count, policy)
    p_male, p_pessimistic = base.p_male, pessimistic.p_male
    favoured = np.where(p_male > 0.5, MALE, FEMALE)
    favoured[np.abs(p_male - 0.5) < EVEN] = NEITHER
    sexes = (MALE, FEMALE)
    decisive = tuple(marks.decisive(sex) for sex in sexes)
    met = [
        (favoured == sex)
        & (share >= policy.verified)
        & (sceptical >= policy.verified_pessimistic)
        & (decisive[n] | marks.agreement(sex))
        for n, (sex, share, sceptical) in enumerate(
            ((MALE, p_male, p_pessimistic), (FEMALE, 1 - p_male, 1 - p_pessimistic))
        )
    ]
    return Views(
        p_male=p_male,
        p_pessimistic=p_pessimistic,
        favoured=favoured,
        any_session=marks.any_session(),
        met=np.where(met[0], MALE, np.where(met[1], FEMALE, NEITHER)),
        strong=(marks.strong(MALE), marks.strong(FEMALE)),
        decisive=(decisive[0], decisive[1]),
        concluded=(marks.concluded(MALE), marks.concluded(FEMALE)),
        latest=(marks.latest(MALE), marks.latest(FEMALE)),
        newest=marks.newest(),
        close=_close(p_male, p_pessimistic, policy) | marks.close(),
    )


def courses(last: Views, columns: Columns, policy: Policy) -> Courses:
    """The history of every record, given how it stands at its end."""
    verified, fallen = last.met.copy(), np.zeros_like(last.met)
    close = last.close.copy()
    torn = np.flatnonzero(
        (last.strong[0] & last.concluded[1]) | (last.strong[1] & last.concluded[0])
    )
    if torn.size:
        walked = _walk(torn, columns, policy)
        verified[torn], fallen[torn] = walked.verified, walked.fallen
        close[torn] |= walked.close
    return Courses(verified, fallen, close)


# --- what the rule asks about -----------------------------------------------------------


class _Marks:
    """Counts and flags by animal, from the sessions and the calls in them."""

    def __init__(
        self, rows: Rows, sessions: Sessions, common: Common, count: int, policy: Policy
    ) -> None:
        self.rows = rows
        self.sessions = sessions
        self.common = common
        self.count = count
        self.policy = policy
        self.least = log_odds(policy.contrary)
        self.inside = np.flatnonzero(sessions.of_row >= 0)
        self.around = rows.around[self.inside]
        self.animal = rows.animal[self.inside]
        self.ratio = sessions.log_ratio[sessions.of_row[self.inside]]
        self.said = common.conclusion[rows.said[self.inside]]

    def any_session(self) -> Flags:
        return self._animals(self.sessions.animal)

    def concluded(self, sex: int) -> Flags:
        return self._animals(self.animal[self.said == sex])

    def strong(self, sex: int) -> Flags:
        return self._animals(self.sessions.animal[self._strong(sex)])

    def latest(self, sex: int) -> Ints:
        found = np.full(self.count, -1, dtype=np.int64)
        strong = self._strong(sex)
        np.maximum.at(found, self.sessions.animal[strong], self.sessions.position[strong])
        return found

    def decisive(self, sex: int) -> Flags:
        return self._animals(self.animal[self._counting(sex) & self.common.decides[self.around]])

    def agreement(self, sex: int) -> Flags:
        """Whether examiners enough agree, with blind calls enough among them."""
        agreeing = self._counting(sex) & self.common.examines[self.around]
        animal, rows = self.animal[agreeing], self.inside[agreeing]
        pairs = np.stack([animal, self.common.examiner[self.rows.person[rows]]])
        examiners = np.bincount(np.unique(pairs, axis=1)[0], minlength=self.count)
        fresh = np.bincount(animal[self.common.fresh[self.around[agreeing]]], minlength=self.count)
        enough: Flags = (examiners >= self.policy.examiners) & (fresh >= self.policy.blind_calls)
        return enough

    def newest(self) -> Ints:
        """The sex that each animal's last call concludes, in a session strong for it."""
        found = np.full(self.count, NEITHER, dtype=np.int64)
        if not self.rows.animal.size:
            return found
        ends = np.flatnonzero(np.append(self.rows.animal[1:] != self.rows.animal[:-1], True))
        session = self.sessions.of_row[ends]
        ends, session = ends[session >= 0], session[session >= 0]
        said = self.common.conclusion[self.rows.said[ends]]
        favour = self.sessions.log_ratio[session] * np.where(said == MALE, 1, -1)
        found[self.rows.animal[ends]] = np.where(favour >= self.least, said, NEITHER)
        return found

    def close(self) -> Flags:
        size = np.abs(self.sessions.log_ratio)
        near = (size < _CLOSE) | (np.abs(size - self.least) < _CLOSE)
        return self._animals(self.sessions.animal[near])

    def _strong(self, sex: int) -> Flags:
        ratio = self.sessions.log_ratio
        strong: Flags = (ratio if sex == MALE else -ratio) >= self.least
        return strong

    def _counting(self, sex: int) -> Flags:
        """Calls for that sex in sessions that as a whole speak for it."""
        speaks: Flags = self.ratio > 0 if sex == MALE else self.ratio < 0
        counting: Flags = speaks & (self.said == sex)
        return counting

    def _animals(self, those: Ints) -> Flags:
        found = np.zeros(self.count, dtype=bool)
        found[those] = True
        return found


def _close(p_male: Floats, p_pessimistic: Floats, policy: Policy) -> Flags:
    def near(p: Floats, share: float) -> Flags:
        found: Flags = (np.abs(p - share) < _CLOSE) | (np.abs(1 - p - share) < _CLOSE)
        return found

    apart = np.abs(p_male - 0.5)
    return (
        near(p_male, policy.probable)
        | near(p_male, policy.verified)
        | near(p_pessimistic, policy.verified_pessimistic)
        | (np.abs(apart - EVEN) < 0.9 * EVEN)
    )


# --- the walk through the history -------------------------------------------------------


class _State(NamedTuple):
    verified: Ints
    fallen: Ints
    since: Ints


def _walk(torn: Ints, columns: Columns, policy: Policy) -> Courses:
    """The histories of the animals with these numbers."""
    rows = columns.rows
    begins = np.searchsorted(rows.animal, torn)
    counts = np.searchsorted(rows.animal, torn, side="right") - begins
    steps = np.arange(1, counts.max() + 1)
    owner, lengths = _prefixes(counts)
    taken, view_of = _rows_of(begins[owner], lengths)
    seen = views(rows.take(taken, view_of), columns, columns.prior_male[torn][owner], policy)
    ends = rows.position[begins[owner] + lengths - 1]
    nothing = np.zeros(torn.size, dtype=np.int64)
    state = _State(nothing.copy(), nothing.copy(), np.full(torn.size, -1))
    for step in steps:
        now = np.flatnonzero(lengths == step)
        state = _step(state, owner[now], seen, now, ends[now])
    close = np.zeros(torn.size, dtype=bool)
    np.logical_or.at(close, owner, seen.close)
    return Courses(state.verified, state.fallen, close)


def _prefixes(counts: Ints) -> tuple[Ints, Ints]:
    """For records of so many calls every prefix: whose it is, and how long."""
    owner = np.repeat(np.arange(counts.size), counts)
    return owner, _running(counts) + 1


def _rows_of(begins: Ints, lengths: Ints) -> tuple[Ints, Ints]:
    """The rows of every prefix, one after the other, and the prefix each belongs to."""
    prefix = np.repeat(np.arange(lengths.size), lengths)
    return begins[prefix] + _running(lengths), prefix


def _running(counts: Ints) -> Ints:
    """0, 1, … within each group of so many."""
    ends = np.cumsum(counts)
    return np.arange(ends[-1]) - np.repeat(ends - counts, counts)


def _step(state: _State, animals: Ints, seen: Views, now: Ints, position: Ints) -> _State:
    """One more call for those animals that have one; ``now`` are the rows of the views
    that end with it, at these log positions."""
    verified, fallen, since = (column[animals] for column in state)
    held = np.where(verified != NEITHER, verified, fallen)
    against = (held != NEITHER) & (seen.newest[now] == MALE + FEMALE - held)
    fallen = np.where(against, held, fallen)
    since = np.where(against, position, since)
    met = seen.met[now]
    latest = np.where(met == MALE, seen.latest[0][now], seen.latest[1][now])
    stands = (met != NEITHER) & ((fallen == NEITHER) | (met != fallen) | (latest > since))
    changed = _State(*(column.copy() for column in state))
    changed.verified[animals] = np.where(stands, met, NEITHER)
    changed.fallen[animals] = np.where(stands, NEITHER, fallen)
    changed.since[animals] = np.where(stands, -1, since)
    return changed
