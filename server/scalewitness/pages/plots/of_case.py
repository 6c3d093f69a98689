"""From an animal's evidence to what its drawings show."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

import msgspec
from django.utils.safestring import SafeString

from scalewitness.calls.models import ENDS, Call
from scalewitness.domain.facts import CallMade
from scalewitness.domain.observations import Probing
from scalewitness.pages.plots.axis import letter, listed
from scalewitness.pages.plots.course import Turn, course
from scalewitness.pages.plots.depths import Probed, depths
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.dossier import Dossier, ShownCall

Happened = tuple[str, str]
"""The mark beside a change and what it was, in words."""


def depths_of(case: Dossier) -> SafeString:
    """Every pass on the animal, whether its call counts or not."""
    probed = (_probed(letter(n), one) for n, one in enumerate(case.calls))
    return depths([one for one in probed if one], case.taxon, f"p{case.animal.pk}")


def depths_in(case: Dossier, call: UUID) -> SafeString:
    """The passes of that one call, by the letter that it has among all of the animal."""
    probed = (_probed(letter(n), one) for n, one in enumerate(case.calls) if one.call.pk == call)
    return depths([one for one in probed if one], case.taxon, f"c{call}")


def course_of(case: Dossier) -> SafeString:
    """The logged standings, each beside the change that brought it about."""
    policy = case.by.policy
    turns = turns_of([one.call for one in case.calls], case.standings)
    return course(turns, probable=policy.probable, verified=policy.verified)


def _probed(key: str, one: ShownCall) -> Probed | None:
    observed = msgspec.convert(one.call.body, CallMade).observed
    if not isinstance(observed, Probing):
        return None
    gone = {"withdrawn": one.withdrawn, "set aside": one.set_aside, "another animal’s": one.refiled}
    for word, so in gone.items():
        if so:
            return Probed(key, observed.passes, word)
    return Probed(key, observed.passes, "counts" if one.counts else "does not count")


def turns_of(calls: Sequence[Call], standings: Sequence[Standing]) -> list[Turn]:
    """Calls and standings, both in log order, as the turns the answer took. A standing is
    logged just after its cause and before anything else about the animal; a change without
    one left the answer as it was; a standing without a change here had another cause."""
    happened, counted = _happened(calls), _counted(calls)
    after = {standing.position: standing for standing in standings}
    turns: list[Turn] = []
    p_male, label, caused = 0.5, "unsexed", False
    for position in sorted({*happened, *after}):
        if position in happened:
            caused = True
            turns.append(Turn(*happened[position], p_male, label))
            continue
        p_male, label = float(after[position].p_male), after[position].label
        mark, text = counted.get(position, ("∗", "Something else changed"))
        if caused:
            mark, text = turns[-1].mark, turns[-1].text
            turns.pop()
        turns.append(Turn(mark, text, p_male, label))
        caused = False
    return turns


def _happened(calls: Sequence[Call]) -> Mapping[int, Happened]:
    """What changed at each log position; one finding may set several calls aside."""
    ended: dict[int, list[str]] = defaultdict(list)
    made: dict[int, Happened] = {}
    for n, call in enumerate(calls):
        made[call.position] = (letter(n), f"Call {letter(n)}")
        for position in _ends(call):
            ended[position].append(letter(n))
    return made | {
        position: (f"−{','.join(gone)}", f"Call {listed(gone)} stopped counting")
        for position, gone in ended.items()
    }


def _counted(calls: Sequence[Call]) -> Mapping[int, Happened]:
    """The calls of newcomers that had waited, by the standing that counts them."""
    found: dict[int, list[str]] = defaultdict(list)
    for n, call in enumerate(calls):
        if hasattr(call, "wait_ended"):
            found[call.wait_ended.position].append(letter(n))
    return {
        position: (f"+{','.join(late)}", f"Call {listed(late)} waited, and counts from here on")
        for position, late in found.items()
    }


def _ends(call: Call) -> Iterable[int]:
    for name in ENDS:
        if hasattr(call, name):
            yield getattr(call, name).position
