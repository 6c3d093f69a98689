"""Lists that are stored side by side, and long ones."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from uuid import UUID

import pytest
from django.db import connections
from django.utils import timezone
from tests.world import World, new_id

from scalewitness.animals.models import Animal, Identifier
from scalewitness.calls.models import Call
from scalewitness.domain.tables.files import read_table
from scalewitness.domain.tables.plan import Answers
from scalewitness.importing.models import Upload
from scalewitness.importing.queries import planned
from scalewitness.importing.services import storing
from scalewitness.importing.services.bringing import answer, bring
from scalewitness.importing.services.storing import AT_ONCE, store, waiting
from scalewitness.intake.batch import Actor
from scalewitness.ledger.models import Entry


def brought(world: World, lines: int, prefix: str = "L") -> Upload:
    """A list of so many animals, each with a sex, all answered."""
    rows = "".join(f"{prefix}-{n},bp,{'mf'[n % 2]}\n" for n in range(lines))
    table = read_table(f"tag,species,sex\n{rows}".encode())
    upload = bring(
        UUID(str(new_id())), world.odile, world.collection, "a.csv", table, timezone.now()
    )
    answer(upload, Answers(replies={"sex_from": "own"}))
    return Upload.objects.get(pk=upload.pk)


def stored(upload: Upload, is_over: Callable[[], bool] = lambda: False) -> int:
    return store(upload, Actor(keeper=upload.keeper_id), timezone.now, is_over)


def test_one_list_brought_twice_and_stored_at_once_is_stored_once(lasting_world: World) -> None:
    uploads = [brought(lasting_world, 60) for _ in range(2)]

    def confirm(upload: Upload) -> int:
        try:
            return stored(upload)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as both:
        assert list(both.map(confirm, uploads)) == [0, 0]
    assert Identifier.objects.filter(code__startswith="L-").count() == 60
    assert Call.objects.filter(animal__identifiers__code__startswith="L-").count() == 60
    for upload in uploads:
        upload.refresh_from_db()
    reasons = [len(one.stored) + len(one.refused) for one in uploads]
    assert reasons == [60, 60], "each line is told of in both"
    assert sum(len(one.stored) for one in uploads) == 60


def test_one_confirmation_sent_twice_at_once_stores_each_line_once(lasting_world: World) -> None:
    upload = brought(lasting_world, 60, "M")

    def confirm(_: int) -> int:
        try:
            return stored(Upload.objects.get(pk=upload.pk))
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as both:
        list(both.map(confirm, range(2)))
    upload.refresh_from_db()
    assert (sorted(upload.stored), upload.refused) == (list(range(2, 62)), {})
    assert Identifier.objects.filter(code__startswith="M-").count() == 60


def test_storing_that_was_broken_off_goes_on_where_it_was(world: World) -> None:
    upload = brought(world, 3 * AT_ONCE, "N")
    assert stored(upload, lambda: True) == 2 * AT_ONCE
    assert len(Upload.objects.get(pk=upload.pk).stored) == AT_ONCE
    entries = Entry.objects.count()
    upload = Upload.objects.get(pk=upload.pk)
    assert len(waiting(upload, planned(upload, timezone.now()).lines)) == 2 * AT_ONCE
    assert stored(upload) == 0
    assert Identifier.objects.filter(code__startswith="N-").count() == 3 * AT_ONCE
    assert Entry.objects.count() > entries


def test_what_was_registered_in_error_is_registered_anew(world: World) -> None:
    text = b"tag,species\nQ-1,bp\n"
    for times in (1, 2, 3):
        table = read_table(text)
        upload = bring(new_id(), world.odile, world.collection, "a.csv", table, timezone.now())
        assert stored(Upload.objects.get(pk=upload.pk)) == 0
        animal = Identifier.objects.get(code="Q-1").animal
        assert Identifier.ever.filter(code="Q-1").count() == times
        world.now = timezone.now()
        world.say(world.odile, "registered_in_error", animal.pk)


def test_young_are_stored_after_their_parents_wherever_these_stand(world: World) -> None:
    """More lines than one transaction has, the parents last; a dam on record by her name."""
    moss = world.animal("old", hatched="2019-01-01")
    Animal.objects.filter(pk=moss.pk).update(name="Moss")
    young = "".join(f"Y-{n},bp,2024-05-01,S-1,{'Moss' if n % 2 else 'D-1'}\n" for n in range(12))
    text = f"tag,species,hatched,sire,dam\n{young}S-1,bp,2020-01-01,,\nD-1,bp,2021-01-01,,Moss\n"
    upload = bring(
        new_id(), world.odile, world.collection, "a.csv", read_table(text.encode()), timezone.now()
    )
    assert stored(Upload.objects.get(pk=upload.pk)) == 0
    upload.refresh_from_db()
    assert (len(upload.stored), upload.refused) == (14, {})
    by_tag = {one.code: one.animal for one in Identifier.objects.select_related("animal")}
    found = {(by_tag[f"Y-{n}"].sire, by_tag[f"Y-{n}"].dam) for n in range(12)}
    sire = by_tag["S-1"].pk
    assert found == {(sire, moss.pk), (sire, by_tag["D-1"].pk)}
    assert by_tag["D-1"].dam == moss.pk


def test_young_of_a_parent_that_the_record_refuses_are_not_stored_without_it(world: World) -> None:
    moss = world.animal("old", hatched="2010-01-01")
    Animal.objects.filter(pk=moss.pk).update(name="Moss")
    world.say(world.odile, "animal_ended", moss.pk, {"why": "died"})
    text = b"tag,species,hatched,sire,dam\nY-1,bp,2026-05-01,,D-1\nD-1,bp,2021-01-01,,Moss\n"
    upload = bring(
        new_id(), world.odile, world.collection, "a.csv", read_table(text), timezone.now()
    )
    Animal.objects.filter(pk=moss.pk).update(ended_at="2012-01-01T00:00:00Z")
    stored(Upload.objects.get(pk=upload.pk))
    upload.refresh_from_db()
    assert not upload.stored
    assert "this dam died on 2012-01-01" in upload.refused["3"]
    assert upload.refused["2"] == "Its dam (line 3) was not stored."


@pytest.mark.long(
    "it takes minutes; else tests/importing/test_storing.py::"
    "test_storing_that_was_broken_off_goes_on_where_it_was"
)
def test_five_thousand_lines_are_stored_and_each_is_accounted_for(lasting_world: World) -> None:
    upload = brought(lasting_world, 5_000, "W")
    chunks = count(1)
    while stored(upload, lambda: next(chunks) % 100 == 0):
        upload = Upload.objects.get(pk=upload.pk)
    upload.refresh_from_db()
    assert (len(upload.stored), upload.refused) == (5_000, {})
    assert Identifier.objects.filter(code__startswith="W-").count() == 5_000


def test_what_its_keepers_registered_since_the_look_is_not_registered_again(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload = brought(world, 3, "P")
    mine: list[Animal] = []

    def somebody_was_first() -> None:
        mine.append(world.animal("P-1"))

    monkeypatch.setattr(storing, "take_turn", somebody_was_first)
    assert stored(upload) == 0
    upload.refresh_from_db()
    assert upload.stored == [2, 4]
    assert "On record already" in upload.refused["3"]
    assert list(Identifier.objects.filter(code="P-1").values_list("animal", flat=True)) == [
        mine[0].pk
    ]
    assert Animal.objects.filter(collection=world.collection).count() >= 3
