"""What a new rule makes of animals is stated a few at a time, where transactions are real."""

from uuid import UUID

import pytest
from django.db import connection
from tests.world import World

from scalewitness.disclosures.models import Disclosure
from scalewitness.intake import batch as batches
from scalewitness.intake import consequences
from scalewitness.intake.batch import Batch, Touched
from scalewitness.intake.known import Subject
from scalewitness.intake.statements import adopt_policy
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.replay import Replay


def test_a_policy_takes_animal_by_animal_and_goes_on_where_it_was_stopped(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each standing with all that follows, in a transaction of its own where others wait."""
    world = lasting_world
    animals = [world.verified(f"V{n}") for n in range(3)]
    for one in animals:
        world.sold(one)
    monkeypatch.setattr(batches, "HOLDING", 0.0)
    whole, stated = consequences._reassess, list[UUID]()

    def stops(subject: Subject, touched: Touched, batch: Batch) -> None:
        if len(stated) == 2:
            raise RuntimeError("the machine was switched off")
        stated.append(subject.animal.pk)
        whole(subject, touched, batch)

    monkeypatch.setattr(consequences, "_reassess", stops)
    strict = ("policy-strict", "sexing-1", {"verified": "0.999990"}, world.now)
    with pytest.raises(RuntimeError):
        adopt_policy(*strict)
    assert Disclosure.objects.count() == Letter.objects.filter(kind="disclosure").count() == 2
    monkeypatch.setattr(consequences, "_reassess", whole)
    policy = adopt_policy(*strict)
    assert {world.label(one) for one in animals} == {"probable male"}
    assert Disclosure.objects.count() == 3
    assert Standing.objects.filter(policy="policy-strict").count() == 3
    assert adopt_policy(*strict).pk == policy.pk
    assert Standing.objects.filter(policy="policy-strict").count() == 3
    assert Entry.objects.filter(kind="policy_adopted").count() == 1
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(DISTINCT xmin::text) FROM ledger_entry WHERE position > %s",
            [policy.position],
        )
        assert cursor.fetchone() == (3,)
    assert list(Replay().differences()) == []
