"""The map as it is kept: what each signing adds makes it what all entries at once would."""

from random import Random
from threading import Barrier, Thread
from uuid import UUID

import pytest
from django.db import connection, transaction
from tests.ledger.growing import NOW
from tests.world import new_id

from scalewitness.domain.errors import Fenced, LogContradicted, NotFound
from scalewitness.domain.translog.checkpoints import read_body
from scalewitness.fsck.crew import Crew
from scalewitness.fsck.map import check_map
from scalewitness.ledger.models import Checkpoint, Entry, MapHead, MapSubject, StatedMap, Succession
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services import mapping, signing
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.ledger.services.mapping import state_map
from scalewitness.ledger.services.opening import newest_tree
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.ledger.services.writing import Draft, Writer
from scalewitness.setting_up.keys import fresh_map_key

SNAKES = [UUID(f"01890000-0000-7000-8000-0000000000{number:02x}") for number in range(20)]


def say(*about: UUID | None) -> None:
    with transaction.atomic():
        writer = Writer()
        for one in about:
            writer.add(Draft(new_id(), "visit_accepted", None, None, NOW, one, {}), NOW)
        writer.flush()


@pytest.mark.django_db
def test_step_by_step_it_becomes_what_all_entries_make(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mapping, "STRETCH", 7)  # so that one signing takes several
    random = Random(3)  # noqa: S311  to be the same again
    for _ in range(6):
        say(*random.choices([*SNAKES, None], k=random.randrange(1, 20)))
        sign_checkpoint(NOW)
        assert list(check_map(Crew(1))) == []
        assert StatedMap.objects.latest("position").root == bytes(MapHead.objects.get().root).hex()
    assert set(MapSubject.objects.values_list("subject", flat=True)) == {
        one for one in Entry.objects.values_list("about", flat=True) if one
    }


@pytest.mark.django_db
def test_nobody_is_given_the_last_entry_of_a_tree_signed_before_there_were_maps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    say(SNAKES[0])
    with monkeypatch.context() as before:
        before.setattr(signing, "state_map", lambda now: None)
        before.setattr(signing, "_to_sign", tip)
        assert sign_checkpoint(NOW).size == 1
    with pytest.raises(NotFound):
        newest_tree(NOW)
    sign_checkpoint(NOW)
    assert newest_tree(NOW).position == 1


@pytest.mark.django_db
def test_each_signed_tree_ends_with_its_map_and_nothing_is_stated_for_nothing() -> None:
    say(SNAKES[0])
    first = sign_checkpoint(NOW)
    assert first.size == 2
    assert sign_checkpoint(NOW) == first
    assert tip().size == 2
    say(SNAKES[0], SNAKES[1])
    second = sign_checkpoint(NOW)
    for checkpoint in (first, second):
        size = read_body(checkpoint.note.partition("\n\n")[0] + "\n").size
        assert Entry.objects.get(position=size - 1).kind == "map_root"
    assert StatedMap.objects.count() == 2


@pytest.mark.django_db
@pytest.mark.parametrize("before", [[], [SNAKES[0]]])
def test_what_comes_in_between_is_not_signed_without_its_map(
    monkeypatch: pytest.MonkeyPatch, before: list[UUID]
) -> None:
    """Somebody writes just after the map was stated: the tree that is signed ends before that.
    Of a log that had no entries that is the empty one."""
    say(*before)
    state = mapping.state_map

    def and_somebody_writes(now: object) -> None:
        state(NOW)
        say(SNAKES[2])

    monkeypatch.setattr("scalewitness.ledger.services.signing.state_map", and_somebody_writes)
    signed = sign_checkpoint(NOW)
    stated = 2 if before else 0
    assert (signed.size, tip().size) == (stated, stated + 1)
    monkeypatch.undo()
    assert sign_checkpoint(NOW).size == tip().size == stated + 2


@pytest.mark.django_db
def test_under_a_fence_nothing_is_stated() -> None:
    say(SNAKES[0])
    raise_fence("restored", NOW)
    with pytest.raises(Fenced):
        sign_checkpoint(NOW)
    with pytest.raises(Fenced):
        state_map(NOW)
    assert not StatedMap.objects.exists()


def test_several_that_sign_at_once_state_one_map(own_database: None) -> None:
    say(*SNAKES[:9])
    start, signed = Barrier(4), list[Checkpoint]()

    def sign() -> None:
        try:
            start.wait()
            signed.append(sign_checkpoint(NOW))
        finally:
            connection.close()

    threads = [Thread(target=sign) for _ in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert {one.size for one in signed} == {10}
    assert StatedMap.objects.count() == 1
    assert list(check_map(Crew(1))) == []


@pytest.mark.django_db
def test_another_key_makes_no_map_under_the_same_name(monkeypatch: pytest.MonkeyPatch) -> None:
    say(*SNAKES)
    size = sign_checkpoint(NOW).size
    say(SNAKES[0])
    other = fresh_map_key()
    monkeypatch.setattr(mapping, "map_signer", lambda: other)
    with pytest.raises(LogContradicted, match="LOG_MAP_KEY"):
        sign_checkpoint(NOW)
    keys = {"old_key": "old.example/log+1+A", "new_key": "new.example/log+1+A", "checkpoint": "-"}
    Succession.objects.create(id=new_id(), position=size, missing=0, at=NOW, **keys)
    state_map(NOW)
    assert StatedMap.objects.latest("position").key == other.key.hash.hex()
    assert MapSubject.objects.count() == len(SNAKES)
    paths = MapSubject.objects.values_list("subject", "path", "path_proof")
    for subject, path, proof in paths:
        assert other.key.output(bytes(proof), subject.bytes) == bytes(path)
