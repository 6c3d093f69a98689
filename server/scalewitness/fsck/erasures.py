"""What of the erasable is gone, and whether the log says that it was erased."""

from collections.abc import Collection, Iterable, Iterator
from uuid import UUID

from scalewitness.books.models import BookClosing
from scalewitness.calls.models import HeldCall
from scalewitness.domain.facts import TEXTS
from scalewitness.fsck.reading import LoggedFact, facts_in
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import Entry, Text

WRITTEN = ("text", "photo")
"""What goes with all that a person wrote."""


class Erasures:
    """What the log tells of erasures that bear on some facts, photos or people."""

    def __init__(self, things: Collection[UUID]) -> None:
        self._of = _authors(things) if things else {}
        about = {*things, *(by for by, _ in self._of.values())}
        logged = Entry.objects.filter(kind="data_erased", about__in=about) if about else ()
        self._gone: dict[UUID, list[tuple[str, str | None]]] = {}
        for one in facts_in(list(logged)):
            self._gone.setdefault(one.about, []).append((one.body.what, one.body.of))

    def tell_of(self, thing: UUID, what: str) -> bool:
        """Whether they account for this: the ``text`` or ``photo`` of a fact, a ``name``."""
        if any(gone == what for gone, _ in self._gone.get(thing, ())):
            return True
        by, about = self._of.get(thing, (None, None))
        if what not in WRITTEN or by is None:
            return False
        whole = [of for gone, of in self._gone.get(by, ()) if gone == "all_they_wrote"]
        return None in whole or str(about) in whole


def _authors(facts: Collection[UUID]) -> dict[UUID, tuple[UUID, UUID | None]]:
    """Of each fact, logged or held, who stated it, and about what."""
    held = HeldCall.objects.filter(pk__in=facts).values_list("pk", "by", "animal_id")
    logged = Entry.objects.filter(fact__in=facts).exclude(by=None)
    rows = [*held, *logged.values_list("fact", "by", "about")]
    return {fact: (by, about) for fact, by, about in rows if by is not None}


def check_gone(
    stated: Iterable[LoggedFact], there: Collection[tuple[UUID, str]]
) -> Iterator[Difference]:
    """Texts that entries commit to and that are gone, unless they were erased; ``there``: those
    that are not, by fact and field. Since the books were first closed, every erasure is a fact;
    what went before is in no book either."""
    first = BookClosing.objects.order_by("position").values_list("position", flat=True).first()
    if first is None:
        return
    later = [one for one in stated if one.position > first]
    wanted = {(one.id, name): one for one in later for name in TEXTS if one.raw.get(name)}
    erasures = Erasures({fact for fact, _ in wanted.keys() - there})
    for (fact, name), one in wanted.items():
        if (fact, name) not in there and not erasures.tell_of(fact, "text"):
            what = f"the {name} is gone, and nobody had it erased"
            yield Difference(Text._meta.db_table, one.position, what)
