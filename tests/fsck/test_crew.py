"""``fsck`` by several processes finds what one alone finds, in the same order."""

from collections.abc import Iterator
from contextlib import suppress
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from pytest_django import DjangoDbBlocker
from tests.fsck.conftest import weigh
from tests.fsck.tampering import as_superuser
from tests.plugins.own_database import own_copy
from tests.world import World

from scalewitness.fsck import stretches
from scalewitness.fsck.crew import Crew
from scalewitness.ledger.queries import spans
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.signing import sign_checkpoint

pytestmark = pytest.mark.one_in(2)


@pytest.fixture(scope="module")
def committed(
    untouched_database: str, trigger_free: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[World]:
    """A record that other processes see. One test alone alters it, and it stays so."""
    with own_copy(untouched_database, django_db_blocker), django_db_blocker.unblock():
        world = World()
        for tag in ("A1", "B1", "C1"):
            world.call(world.odile, world.animal(tag), "male", texts={"note": "calm"})
        weigh(world, 40)
        sign_checkpoint(world.now)
        yield world


@pytest.fixture(autouse=True)
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stretches, "STRETCH", 10)
    monkeypatch.setattr(spans, "AT_ONCE", 10)


def fsck(*more: str) -> list[str]:
    out, err = StringIO(), StringIO()
    with suppress(CommandError):
        call_command("fsck", *more, stdout=out, stderr=err)
    return [*out.getvalue().splitlines(), *err.getvalue().splitlines()]


def test_as_many_as_there_are_say_the_same(committed: World) -> None:
    """Of a sound record, and then of an altered one."""
    sound = fsck("--processes", "2")
    assert sound == fsck("--processes", "1")
    assert "no difference" in sound[0]
    with transaction.atomic():
        as_superuser(
            "UPDATE calls_call SET conclusion = 'female'",
            "UPDATE calls_standing SET label = 'verified male'",
            "UPDATE ledger_text SET text = text || '!'",
            "DELETE FROM animals_husbandry WHERE position % 3 = 0",
            "UPDATE ledger_mapsubject SET count = count + 1",
            "UPDATE ledger_mapnode SET hash = set_byte(hash, 3, 255 - get_byte(hash, 3))",
        )
    found = fsck("--processes", "1")
    assert len(found) == 1 + 7
    for many in ("2", "3"):
        assert fsck("--processes", many) == found


def test_it_says_how_far_it_is_only_if_asked(committed: World) -> None:
    size = tip().size
    silent, asked = fsck("--only", "log"), fsck("--only", "log", "--progress")
    assert [one for one in asked if one not in silent] == [
        f"entries: position {min(done, size)} of {size}" for done in range(10, size + 10, 10)
    ]


def _itself(piece: int) -> int:
    return piece


@pytest.mark.usefixtures("committed")
def test_no_more_is_handed_out_than_is_soon_wanted() -> None:
    """Else a long log would wait in memory."""
    drawn: list[int] = []

    def pieces() -> Iterator[int]:
        for piece in range(50):
            drawn.append(piece)
            yield piece

    with Crew(2) as crew:
        answers = crew.each(_itself, pieces())
        assert next(answers) == 0
        assert len(drawn) < 10
        assert list(answers) == list(range(1, 50))
    assert not connection.in_atomic_block
