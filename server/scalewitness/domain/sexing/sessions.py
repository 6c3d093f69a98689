"""From single calls to sessions: what stands behind each call's weight, and which calls one
examiner made on one occasion."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from operator import attrgetter

from msgspec import Struct, field
from msgspec.structs import replace

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import Evidence, another_animal
from scalewitness.domain.sexing.findings import Reading, reading
from scalewitness.domain.sexing.formulas import Formula, formula_of
from scalewitness.domain.sexing.likelihood import Pair, log_ratio, total
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords, session_error
from scalewitness.domain.sexing.sizes import sized_by
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.weighed import Person, Session, WeighedCall

BLIND_FOLLOWED = "blind.followed"
"""The number that says how often a call said to be blind repeats what was concluded before."""
_HOUR = 3_600_000
_SEXES: tuple[Sex, ...] = ("male", "female")
_HEARSAY = frozenset({"unconfirmed", "denied"})


class Weigher(Struct, frozen=True, eq=False):
    """One set of parameters applied to the calls of one animal."""

    taxon: Taxon
    records: ExaminerRecords
    parameters: Parameters
    numbers: ParameterSet
    _known: dict[tuple[str, ...], Session] = field(default_factory=dict)
    _own: dict[tuple[str, ...], tuple[Session, ...]] = field(default_factory=dict)

    @property
    def formula(self) -> Formula:
        return formula_of(self.parameters.version, self.numbers)

    def weigh_all(self, calls: Sequence[Evidence]) -> list[WeighedCall]:
        """Every call, in log order, with what had been concluded before it."""
        return [self.weigh(call, heard=heard(call, calls[:n])) for n, call in enumerate(calls)]

    def weigh(
        self, call: Evidence, found: Reading | None = None, heard: Sex | None = None
    ) -> WeighedCall:
        """What stands behind the weight of one call; ``found`` stands in for what it
        says by itself, ``heard`` is what others concluded before."""
        numbers, method = self.numbers, call.method
        if found is None:
            found = reading(call, self.taxon, numbers)
        kappa = anchoring(call, numbers)
        hearsay = self.formula.own_view and call.report in _HEARSAY
        by = sized_by(call, self.taxon, numbers)
        person = (call.examiner, call.role, call.identified == "mismatch")
        return WeighedCall(
            call=call,
            method=method,
            reading=found,
            pair=self.formula.seen(found.pair, call, kappa),
            kappa=kappa,
            epsilon=session_error(call, numbers, self.records, self.parameters, by),
            by_size=by,
            alpha=_misleading(numbers, method),
            doubt=another_animal(call, numbers),
            person=person,
            place=(person, call.at, call.position),
            species=_species(self.taxon, method, numbers),
            hearsay=hearsay,
            may_decide=not hearsay and self._settles(method),
            heard=heard,
            unblind=unblind(numbers, method) if heard else 0.0,
        )

    def _settles(self, method: Method) -> bool:
        """Whether this species is known well enough for the method to settle a sex."""
        known = method != "dna" or self.taxon.marker_settles
        return known or not self.formula.own_view

    def apart(self) -> "Weigher":
        """The same with its own memory: calls added to the one never meet the other's."""
        return replace(self, _known=dict(self._known), _own=dict(self._own))

    def sessions(self, weighed: Iterable[WeighedCall]) -> tuple[Session, ...]:
        """The informative calls by examiner and occasion, in order of their first call in
        the log. An occasion begins with a call and lasts ``session.hours``."""
        by_person: dict[Person, list[WeighedCall]] = {}
        for one in weighed:
            if one.reading.informative:
                by_person.setdefault(one.person, []).append(one)
        found = [session for own in by_person.values() for session in self._occasions(own)]
        return tuple(sorted(found, key=attrgetter("position")))

    def _occasions(self, own: Sequence[WeighedCall]) -> tuple[Session, ...]:
        """One person's sessions; the same calls are worked out once."""
        if len(own) == 1:
            return (self.session(own),)
        key = tuple([w.call.call for w in own])
        found = self._own.get(key)
        if found is None:
            width = self.numbers.value("session.hours") * _HOUR
            occasions = _occasions(sorted(own, key=attrgetter("place")), width)
            found = self._own[key] = tuple(map(self.session, occasions))
        return found

    def session(self, calls: Sequence[WeighedCall]) -> Session:
        """These calls as one session; the same calls are worked out once."""
        key = tuple([w.call.call for w in calls])
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._session(calls)
        return found

    def _session(self, calls: Sequence[WeighedCall]) -> Session:
        by_method: dict[Method, list[WeighedCall]] = {}
        for weighed in calls:
            by_method.setdefault(weighed.method, []).append(weighed)
        parts = tuple(map(self.formula.part, by_method.values()))
        alone = log_ratio(total(self.formula.combined(parts)))
        ordered = tuple(sorted(calls, key=lambda w: w.call.position))
        unproven = self._unproven(calls, alone)
        return Session(ordered, parts, alone, unproven, ordered[0].call.position)

    def _unproven(self, calls: Sequence[WeighedCall], alone: float) -> float:
        """What they would say alone had the examiner no record, and nobody seen another animal
        in a photo: that either comes later must not undo what the call once brought down."""
        rates = self.records.rates
        own = any((w.call.examiner, w.method, sex) in rates for w in calls for sex in _SEXES)
        doubted = any(w.call.compared == "another" for w in calls)
        if not (own or doubted) or not self.formula.own_view:
            return alone
        plain = replace(self, records=EMPTY, _known={}, _own={})
        again = [plain.weigh(_undoubted(one.call), one.reading, one.heard) for one in calls]
        return plain.session(again).log_ratio

    def log_likelihoods(self, sessions: Iterable[Session]) -> list[Pair]:
        """Pairs whose sum is log P(everything seen | male), (… | female)."""
        return self.formula.combined([part for session in sessions for part in session.parts])


def _undoubted(call: Evidence) -> Evidence:
    return replace(call, compared=None) if call.compared == "another" else call


@lru_cache(maxsize=512)
def _misleading(numbers: ParameterSet, method: Method) -> Pair:
    """α: how often a male, and how often a female, shows the other sex's picture."""
    male, female = f"mislead.{method}.male", f"mislead.{method}.female"
    return numbers.get(male, 0.0), numbers.get(female, 0.0)


@lru_cache(maxsize=2048)
def _species(taxon: Taxon, method: Method, numbers: ParameterSet) -> str:
    """The name of σ: the chance that the species is not as what is held for it."""
    name = ""
    if method == "probing":
        name = f"species.{taxon.ground or 'in general'}"
    elif method == "dna" and not taxon.marker_settles:
        name = "species.borrowed test"
    return name if name in numbers.numbers else ""


def anchoring(call: Evidence, numbers: ParameterSet) -> float:
    """κ: how much of an informed call merely repeats what its examiner knew."""
    if call.blind or call.anchored_to is None:
        return 0.0
    return _repeated(numbers, call.method)


def heard(call: Evidence, before: Sequence[Evidence]) -> Sex | None:
    """What one who is said to be blind could have been told."""
    found = last_conclusive(call, before) if call.blind else None
    return None if found is None or found.conclusion == "undetermined" else found.conclusion


def last_conclusive(call: Evidence, before: Sequence[Evidence]) -> Evidence | None:
    """The last of those calls in which somebody else came to a conclusion."""
    for one in reversed(before):
        if one.conclusion != "undetermined" and one.examiner != call.examiner:
            return one
    return None


@lru_cache(maxsize=512)
def unblind(numbers: ParameterSet, method: Method) -> float:
    """ω: how often a call said to be blind repeats what was concluded before it."""
    share = numbers.get(f"anchoring_share.{method}", 1.0)
    return numbers.get(BLIND_FOLLOWED, 0.0) * share


@lru_cache(maxsize=512)
def _repeated(numbers: ParameterSet, method: Method) -> float:
    """κ of a call by one who knew."""
    blind = numbers.value("anchoring.discordant_blind")
    knowing = numbers.value("anchoring.discordant_knowing")
    return (1 - knowing / blind) * numbers.get(f"anchoring_share.{method}", 1.0)


def _occasions(calls: Iterable[WeighedCall], width: float) -> Iterable[list[WeighedCall]]:
    """Calls of one person, sorted by time, cut where an occasion is over."""
    occasion: list[WeighedCall] = []
    for weighed in calls:
        if occasion and weighed.call.at - occasion[0].call.at > width:
            yield occasion
            occasion = []
        occasion.append(weighed)
    yield occasion
