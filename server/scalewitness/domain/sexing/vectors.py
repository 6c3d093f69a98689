"""The model of :mod:`sessions` over columns: probabilities of many animals in one pass.

The same steps in the same order, with whole columns in place of single numbers: anchoring,
sessions by examiner and occasion, one error per session and method, doubt about identity
by kind, the misleading animal per method, and Bayes' rule.
"""

from typing import NamedTuple

import numpy as np

from scalewitness.domain.sexing.case import SUREST
from scalewitness.domain.sexing.columns import MALE, Common, Floats, Ints, Rows, Tables


class Pairs(NamedTuple):
    """Columns of log chances, if male and if female."""

    male: Floats
    female: Floats

    def sums(self, starts: Ints) -> "Pairs":
        """Totals of the groups that begin at these rows."""
        return Pairs(np.add.reduceat(self.male, starts), np.add.reduceat(self.female, starts))

    def flipped(self, male: Floats, female: Floats) -> "Pairs":
        """Seen through something that shows the other sex's picture with these chances."""
        return Pairs(mixed(self.male, self.female, male), mixed(self.female, self.male, female))

    def at(self, rows: Ints) -> "Pairs":
        return Pairs(self.male[rows], self.female[rows])


class Sessions(NamedTuple):
    """Whose each session is, the natural log of what it says alone (male over female),
    where in the log it began; and for each row its session, −1 where it says nothing."""

    animal: Ints
    log_ratio: Floats
    position: Ints
    of_row: Ints


class Weighing(NamedTuple):
    p_male: Floats
    sessions: Sessions


class _Parts(NamedTuple):
    """One row per session and method."""

    animal: Ints
    session: Ints
    method: Ints
    pairs: Pairs
    mislead_male: Floats
    mislead_female: Floats
    doubt: Floats


def weigh(rows: Rows, tables: Tables, common: Common, prior_male: Floats) -> Weighing:
    """The probability of male for each animal, as many as there are priors, and what its
    sessions say."""
    telling = np.flatnonzero(tables.telling[rows.said])
    odds = np.log(prior_male) - np.log1p(-prior_male)
    if not telling.size:
        return Weighing(_probability(odds), _no_sessions(rows))
    order = np.lexsort(
        (rows.position[telling], rows.at[telling], rows.person[telling], rows.animal[telling])
    )
    chosen = telling[order]
    session = _occasions(rows, chosen, tables.width)
    parts = _parts(rows, chosen, session, tables, common)
    animals, totals = _by_animal(parts)
    odds[animals] += totals.male - totals.female
    return Weighing(_probability(odds), _sessions(rows, chosen, session, parts))


def mixed(one: Floats, other: Floats, share: Floats) -> Floats:
    """log of (1 − share)·one + share·other, column by column."""
    top = np.maximum(one, other)
    with np.errstate(divide="ignore"):
        found = top + np.log((1 - share) * np.exp(one - top) + share * np.exp(other - top))
    return np.where((share <= 0) | (one == other), one, np.where(share >= 1, other, found))


def starts(*keys: Ints | Floats) -> Ints:
    """Rows at which a group of equal keys begins; rows with equal keys are neighbours, and
    there is at least one row."""
    new = np.ones(keys[0].size, dtype=bool)
    new[1:] = np.logical_or.reduce([key[1:] != key[:-1] for key in keys])
    return np.flatnonzero(new)


def _occasions(rows: Rows, chosen: Ints, width: float) -> Ints:
    """The session of each chosen row; rows are sorted by animal, person and time. An
    occasion is cut where it has lasted longer than its width, from its first call on."""
    at = rows.at[chosen]
    begins = np.zeros(chosen.size, dtype=bool)
    begins[starts(rows.animal[chosen], rows.person[chosen])] = True
    while True:
        session = np.cumsum(begins) - 1
        late = np.flatnonzero(at - at[begins][session] > width)
        if not late.size:
            return session
        begins[late[starts(session[late])]] = True


def _parts(rows: Rows, chosen: Ints, session: Ints, tables: Tables, common: Common) -> _Parts:
    order = np.lexsort((common.method[rows.around[chosen]], session))
    chosen, session = chosen[order], session[order]
    around = rows.around[chosen]
    method = common.method[around]
    first = starts(session, method)
    seen = _anchored(rows.said[chosen], around, tables, common).sums(first)
    return _Parts(
        animal=rows.animal[chosen][first],
        session=session[first],
        method=method[first],
        pairs=seen.flipped(
            np.minimum.reduceat(tables.error_male[around], first),
            np.minimum.reduceat(tables.error_female[around], first),
        ),
        mislead_male=tables.mislead_male[around[first]],
        mislead_female=tables.mislead_female[around[first]],
        doubt=np.minimum.reduceat(tables.doubt[around], first),
    )


def _anchored(said: Ints, around: Ints, tables: Tables, common: Common) -> Pairs:
    """What was found, as far as it does not merely repeat what the examiner knew."""
    pairs = Pairs(tables.male[said], tables.female[said])
    knew, kappa = common.anchored[around], tables.kappa[around]
    as_if = np.where(knew == MALE, pairs.male, pairs.female)
    return Pairs(mixed(pairs.male, as_if, kappa), mixed(pairs.female, as_if, kappa))


def _by_animal(parts: _Parts) -> tuple[Ints, Pairs]:
    """The animals that have parts, and everything that was found on each."""
    order = np.lexsort((parts.doubt, parts.method, parts.animal))
    kind = starts(parts.animal[order], parts.method[order], parts.doubt[order])
    first = order[kind]  # one part of each method and kind of doubt, for what they share
    doubt = parts.doubt[first]
    pairs = parts.pairs.at(order).sums(kind).flipped(doubt, doubt)
    one = starts(parts.animal[first], parts.method[first])
    first = first[one]
    pairs = pairs.sums(one).flipped(parts.mislead_male[first], parts.mislead_female[first])
    each = starts(parts.animal[first])
    return parts.animal[first[each]], pairs.sums(each)


def _sessions(rows: Rows, chosen: Ints, session: Ints, parts: _Parts) -> Sessions:
    alone = parts.pairs.flipped(parts.doubt, parts.doubt)
    alone = alone.flipped(parts.mislead_male, parts.mislead_female)
    first = starts(parts.session)
    male, female = alone.sums(first)
    of_row = np.full(rows.animal.size, -1, dtype=np.int64)
    of_row[chosen] = session
    began = np.minimum.reduceat(rows.position[chosen], starts(session))
    return Sessions(parts.animal[first], male - female, began, of_row)


def _no_sessions(rows: Rows) -> Sessions:
    nothing = np.zeros(0, dtype=np.int64)
    of_row = np.full(rows.animal.size, -1, dtype=np.int64)
    return Sessions(nothing, np.zeros(0), nothing, of_row)


def _probability(odds: Floats) -> Floats:
    small = np.exp(-np.abs(odds))
    found = np.where(odds >= 0, 1 / (1 + small), small / (1 + small))
    return np.clip(found, SUREST, 1 - SUREST)
