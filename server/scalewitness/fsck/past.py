"""What an entry's row needs to know from other entries, read from the log alone."""

from collections.abc import Collection, Iterable
from typing import Any
from uuid import UUID

from django.db.models import Max

from scalewitness.domain.facts import Circumstance, ReportStands
from scalewitness.domain.sexing.evidence import Compared
from scalewitness.fsck.reading import LoggedFact, facts_in
from scalewitness.ledger.models import Entry


class Unfounded(Exception):
    """The log lacks what an entry must rest on."""


class Past:
    """Looks up entries around a stretch of the log that has been read already."""

    def __init__(self, stretch: Iterable[LoggedFact] = ()) -> None:
        self._standings: dict[UUID, list[LoggedFact]] = {}
        self._start: int | None = None
        self._here: dict[str, dict[UUID, int]] = {}
        """By kind and by what they are about, where the last fact of the stretch is."""
        self._next: dict[str, dict[UUID, LoggedFact]] = {}
        self._latest: dict[tuple[str, frozenset[str]], dict[UUID, int]] = {}
        for fact in stretch:
            self._here.setdefault(fact.kind, {})[fact.about] = fact.position
            self._start = fact.position if self._start is None else self._start
            if fact.kind == "standing_changed":
                self._standings.setdefault(fact.about, []).append(fact)

    def circumstance(self, call: LoggedFact) -> Circumstance:
        """What the record stated of a call with the standing that followed it.

        Raises:
            Unfounded: no later standing of the animal admits the call.
        """
        for standing in self._standings_after(call):
            for known in standing.body.admitted:
                if known.call == str(call.id):
                    return known  # type: ignore[no-any-return]
        raise Unfounded("no standing that follows admits this call")

    def call(self, call: str) -> LoggedFact:
        """The call that another entry speaks of.

        Raises:
            Unfounded: the log holds no such call.
        """
        found = facts_in(list(Entry.objects.filter(fact=call, kind="call_made")))
        if not found:
            raise Unfounded("the log holds no such call")
        return found[0]

    def report(self, attested: LoggedFact) -> ReportStands:
        """What the record made of the call that somebody spoke of.

        Raises:
            Unfounded: the standing that follows does not say.
        """
        for standing in self._standings_after(attested):
            for report in standing.body.reports:
                if report.call == attested.body.call:
                    return report  # type: ignore[no-any-return]
        raise Unfounded("no standing that follows says what became of the report")

    def comparisons(self, compared: LoggedFact) -> dict[UUID | None, Compared]:
        """By keeper, what they said last of the call's photos, up to this entry."""
        made = _about(compared.about, {"photos_compared"})
        stated = facts_in(list(made.filter(position__lte=compared.position)))
        call = compared.body.call
        return {one.by: one.body.answer for one in stated if one.body.call == call}

    def _standings_after(self, call: LoggedFact) -> Iterable[LoggedFact]:
        """Those at hand first; the one that admits a call follows in the same batch. Of a call
        before the stretch at hand, that one may be before it too."""
        here = self._start is not None and call.position >= self._start
        standings = self._standings.get(call.about, ()) if here else ()
        near = [one for one in standings if one.position > call.position]
        yield from near
        if here:
            after = self._standings_beyond(call.kind).get(call.about)
            if after is not None:
                yield after
                return
        seen = max((one.position for one in near), default=call.position)
        yield from facts_in(_about(call.about, {"standing_changed"}).filter(position__gt=seen)[:1])

    def _standings_beyond(self, kind: str) -> dict[UUID, LoggedFact]:
        """The next standing after the stretch, of all that it leaves without one since its last
        fact of that kind."""
        if kind not in self._next:
            last = {about: found[-1].position for about, found in self._standings.items()}
            facts = self._here.get(kind, {})
            left = [about for about, position in facts.items() if last.get(about, -1) < position]
            rows = Entry.objects.filter(about__in=left, kind="standing_changed")
            rows = rows.filter(position__gt=max(facts.values(), default=0))
            first = rows.order_by("about", "position").distinct("about") if left else ()
            self._next[kind] = {one.about: one for one in facts_in(list(first))}
        return self._next[kind]

    def home_before(self, move: LoggedFact) -> UUID:
        """The collection an animal was in before it moved.

        Raises:
            Unfounded: the log never said where the animal was.
        """
        kinds = {"animal_registered", "custody_changed"}
        body = self._last(move.about, kinds, before=move.position).body
        return UUID(body.to if hasattr(body, "to") else body.collection)

    def invitation(self, answer: LoggedFact) -> LoggedFact:
        """The invitation to the visit that a guest accepted.

        Raises:
            Unfounded: nobody invited.
        """
        return self._last(answer.about, {"visit_invited"}, before=answer.position)

    def ends_grant(self, cancelled: LoggedFact) -> bool:
        """Whether a cancelled visit had given its guest a grant that still ran."""
        visit = cancelled.about
        before = _about(visit, {"visit_accepted"}).filter(position__lt=cancelled.position)
        if not before.exists():
            return False
        collection = UUID(self.invitation(cancelled).body.collection)
        revoked = _about(collection, {"grant_revoked"}).filter(position__lt=cancelled.position)
        return all(one.body.grant != str(visit) for one in facts_in(revoked))

    def is_latest(self, fact: LoggedFact, kinds: Collection[str]) -> bool:
        """Whether no later entry of these kinds is about the same thing."""
        if fact.about not in self._here.get(fact.kind, ()):
            return not _about(fact.about, kinds).filter(position__gt=fact.position).exists()
        asked = (fact.kind, frozenset(kinds))
        if asked not in self._latest:  # of all of its kind in the stretch at once
            self._latest[asked] = _latest_about(self._here[fact.kind], kinds)
        return self._latest[asked].get(fact.about, -1) <= fact.position

    def _last(self, about: UUID, kinds: Collection[str], before: int) -> LoggedFact:
        found = facts_in(_about(about, kinds).filter(position__lt=before).order_by("-position")[:1])
        if not found:
            raise Unfounded("the log holds nothing it could follow from")
        return found[0]


def _latest_about(things: Collection[UUID], kinds: Collection[str]) -> dict[UUID, int]:
    """Where the latest entries of these kinds are."""
    rows = Entry.objects.filter(about__in=list(things), kind__in=kinds).order_by()
    return dict(rows.values_list("about").annotate(Max("position")))


def _about(about: UUID, kinds: Collection[str]) -> Any:
    return Entry.objects.filter(about=about, kind__in=kinds).order_by("position")
