"""Eight writers at once, with readers who follow the log and a signer in between."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from itertools import pairwise
from threading import Event
from uuid import UUID

from django.conf import settings
from django.db import connections, transaction
from tests.intake.test_records_stand_still import counted, settled
from tests.ledger.test_line import waiting
from tests.waiting import ENOUGH, eventually
from tests.world import World

from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.notes import open_checkpoint
from scalewitness.domain.translog.proofs import verify_consistency
from scalewitness.domain.translog.record_map import KIND
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.intake.statements import update_examiner_records
from scalewitness.ledger.models import Checkpoint, Entry
from scalewitness.ledger.queries.tree import growth_proof, root_at, tip
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.ledger.services.writing import take_turn

WRITERS, READERS, BATCHES = 8, 3, 6


class Race:
    """What all threads share: the animals written about, whether writing goes on, and whether
    signing does, which writes as well."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.animals = [world.animal(f"R{number}").pk for number in range(WRITERS)]
        self.began = tip().size
        self.over = Event()
        self.signed = Event()

    def write(self, number: int) -> dict[UUID, int]:
        """Push batches of one to three facts; every position that was given out."""
        actor, given = Actor(keeper=self.world.odile.pk), {}
        for batch in range(BATCHES):
            noted = {"noted": {"type": "weight", "grams": str(100 + batch)}}
            about = self.animals[number]
            items = [
                self.world.item("husbandry_noted", about, noted)
                for _ in range(1 + (batch + number) % 3)
            ]
            for outcome in accept(items, actor, self.world.now):
                assert outcome.status == "accepted"
                assert outcome.position is not None
                given[UUID(outcome.id)] = outcome.position
        return given

    def follow(self, number: int) -> list[UUID]:
        """Read on from the last position seen, as a client's cursor does."""
        seen: list[UUID] = []
        while True:
            last_round = self.signed.is_set()
            rows = Entry.objects.filter(position__gte=len(seen)).order_by("position")[:20]
            for row in rows:
                assert row.position == len(seen), "a gap was seen"
                seen.append(row.fact)
            head = tip()
            assert head.size >= len(seen), "an entry was seen before the head counted it"
            if last_round and not rows:
                return seen

    def sign(self, number: int) -> None:
        while not self.over.is_set():
            sign_checkpoint(self.world.now)


def in_thread(work: Callable[[int], object], number: int) -> object:
    try:
        return work(number)
    finally:
        connections.close_all()


def test_positions_are_dense_and_no_reader_misses_an_entry(lasting_world: World) -> None:
    race = Race(lasting_world)
    with ThreadPoolExecutor(WRITERS + READERS + 1) as pool:
        readers = [pool.submit(in_thread, race.follow, n) for n in range(READERS)]
        signer = pool.submit(in_thread, race.sign, 0)
        try:
            writers = [pool.submit(in_thread, race.write, n) for n in range(WRITERS)]
            given = {id: place for done in writers for id, place in done.result().items()}
        finally:
            race.over.set()
            wait([signer])
            race.signed.set()
        signer.result()
        followed = [done.result() for done in readers]
    entries = Entry.objects.order_by("position")
    said = entries.filter(position__gte=race.began).exclude(kind=KIND)  # of the signer's own
    assert sorted(given.values()) == list(said.values_list("position", flat=True))
    order = list(entries.values_list("fact", flat=True))
    assert list(entries.values_list("position", flat=True)) == list(range(len(order)))
    assert all(order[place] == id for id, place in given.items())
    assert followed == [order] * READERS
    assert root_at(len(order)) == tip().root


def test_checkpoints_signed_meanwhile_never_contradict_each_other(lasting_world: World) -> None:
    race = Race(lasting_world)
    with ThreadPoolExecutor(4) as pool:
        signers = [pool.submit(in_thread, race.sign, n) for n in range(2)]
        try:
            for done in [pool.submit(in_thread, race.write, n) for n in range(2)]:
                done.result()
        finally:
            race.over.set()
        for signer in signers:
            signer.result()
    log = read_signer(settings.LOG_SIGNING_KEY).verifier
    heads = [open_checkpoint(kept.note, log)[0] for kept in Checkpoint.objects.order_by("size")]
    assert len(heads) > 1
    for old, new in pairwise(heads):
        proof = growth_proof(old.size, new.size)
        assert verify_consistency(
            size1=old.size, root1=old.root, size2=new.size, root2=new.root, proof=proof
        )
    kinds = list(Entry.objects.order_by("position").values_list("kind", flat=True))
    assert {kinds[head.size - 1] for head in heads} == {KIND}
    assert (KIND, KIND) not in pairwise(kinds), "the map was stated twice of the same entries"


def test_a_visit_opened_while_records_wait_for_the_log_keeps_its_animal_out(
    lasting_world: World,
) -> None:
    """What is read before the log is locked may be out of date by then."""
    world = lasting_world
    settled(world, "S1")
    animal = settled(world, "B1", "male")

    with ThreadPoolExecutor(1) as threads:
        with transaction.atomic():
            take_turn()
            other = threads.submit(in_thread, lambda _: update_examiner_records(world.now), 0)
            eventually(waiting, "the records to wait for the log")
            world.visit(world.stan, animal)
        assert other.result(ENOUGH) == 1
    assert counted(world.greta) == (0, 1)
