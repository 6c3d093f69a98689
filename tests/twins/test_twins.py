"""A blind guest gets the same of an animal with a rich history and of its bare twin.

`deploy/bench/twins.py` tries many histories and prints how much was compared.
"""

from collections import Counter
from collections.abc import Callable
from functools import partial

import pytest
from tests.twins.compared import Got, everything
from tests.twins.histories import SHORT, Story

from scalewitness.animals import queries as animals
from scalewitness.animals.queries.grants import is_partner
from scalewitness.api.shapes import visits as sheets
from scalewitness.api.shapes.animals import condition
from scalewitness.breeding.queries.pairings import Labelled, PairingSeen, pairings_of
from scalewitness.calls.queries.visibility import VisibleParents, reader_of
from scalewitness.feed import facts
from scalewitness.letters import pairings as letters
from scalewitness.pages.breeding import pairings

pytestmark = pytest.mark.django_db


KINDS = ("endpoint", "page", "feed", "receipt", "letter")
AROUND = 60


def differences(rich: Got, bare: Got) -> list[str]:
    names = [*rich.answers, *(bare.answers.keys() - rich.answers.keys())]
    pairs = ((name, rich.answers.get(name, ""), bare.answers.get(name, "")) for name in names)
    return [f"{name}: {_first(one, other)}" for name, one, other in pairs if one != other]


def _first(one: str, other: str) -> str:
    """Where the two first differ."""
    at = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), -AROUND)
    around = slice(max(0, at - AROUND), at + AROUND)
    return f"{one[around]!r} but of the twin {other[around]!r}"


def compared(seed: int, told: Story | None = None) -> tuple[Counter[str], list[str]]:
    """How much of each kind was compared, and what differs: thoroughly of a random history."""
    (rich, story), (bare, twin) = (
        everything(seed, rich=one, thorough=told is None, story=told) for one in (True, False)
    )
    assert story.taken == twin.taken
    found = differences(rich, bare)
    return rich.counts, [f"history {seed}: {story.taken}", *found] if found else []


def test_a_blind_guest_gets_the_same_of_a_rich_history_and_of_a_bare_one() -> None:
    counts, found = compared(7, SHORT)
    assert found == [], "\n".join(found)
    assert min(counts[one] for one in KINDS) > 0


@pytest.mark.long(
    "half a minute a history; one is compared by "
    "tests/twins/test_twins.py::test_a_blind_guest_gets_the_same_of_a_rich_history_and_of_a_bare_one"
)
def test_also_of_many_histories(histories: int, capsys: pytest.CaptureFixture[str]) -> None:
    counts: Counter[str] = Counter()
    differing: list[str] = []
    for seed in range(100, 100 + histories):
        more, found = compared(seed)
        counts += more
        differing += found
    with capsys.disabled():
        figures = ", ".join(f"{counts[one]:,} {one}s" for one in KINDS)
        print(f"\n{histories} histories, twice each: compared {figures}")  # noqa: T201
    assert differing == [], "\n".join(differing)


LEAKS: dict[str, tuple[object, str, Callable[..., object]]] = {
    "parents": (VisibleParents, "shown", lambda rule, room, sire, dam: (sire, dam)),
    "receipts": (VisibleParents, "open", lambda rule, animal, *parents: True),
    "the feed": (facts, "_shows_the_blind", lambda entry: True),
    "pairings": (
        pairings,
        "pairings_seen",
        lambda *asked: [*map(_bare, pairings_of(reader_of(*asked)))],
    ),
    "letters": (letters, "sights_of", lambda *asked: {}),
    "partners": (animals, "is_partner", partial(is_partner, waiting=True)),
    "health": (sheets, "condition", lambda state, health=True: condition(state)),
}


def _bare(pairing: Labelled) -> PairingSeen:
    labels = (pairing.sire_label, pairing.dam_label)
    return PairingSeen(pairing, pairing.sire, pairing.dam, labels, frozenset())


def test_what_leaks_would_be_put_in_is_there() -> None:
    assert [name for name, (room, rule, _) in LEAKS.items() if not hasattr(room, rule)] == []


@pytest.mark.long(
    "half a minute each; the same comparison is made by "
    "tests/twins/test_twins.py::test_a_blind_guest_gets_the_same_of_a_rich_history_and_of_a_bare_one"
)
@pytest.mark.parametrize("leak", LEAKS)
def test_a_leak_that_is_put_in_is_seen(leak: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(*LEAKS[leak])
    assert compared(7, SHORT)[1]
