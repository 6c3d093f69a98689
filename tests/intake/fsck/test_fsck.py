"""``fsck`` finds nothing in a sound record, whatever was said, and forgets no kind."""

from io import StringIO

import pytest
from django.apps import apps
from django.core.management import call_command
from tests.world import World

from scalewitness.domain.facts import BODIES
from scalewitness.intake.fsck import run as running
from scalewitness.intake.fsck.past import Past
from scalewitness.intake.fsck.projections import PROJECTIONS
from scalewitness.intake.fsck.reading import entries_between, said_in
from scalewitness.intake.fsck.tables import APART, KEPT, TABLES
from scalewitness.ledger.models import AppendOnly, Entry
from scalewitness.ledger.queries.tree import tip


def test_every_kind_of_fact_is_covered() -> None:
    assert PROJECTIONS.keys() == BODIES.keys()


def test_every_table_of_facts_is_covered() -> None:
    facts = {model for model in apps.get_models() if issubclass(model, AppendOnly)}
    assert {table.model for table in TABLES} | set(APART) == facts | set(KEPT)


def test_the_story_says_every_kind_and_every_column_is_compared(told: World) -> None:
    assert set(Entry.objects.values_list("kind", flat=True)) == set(BODIES)
    said = said_in(entries_between(0, tip().size))
    rows = [row for one in said for row in PROJECTIONS[one.kind](one, Past(said))]
    for table in TABLES:
        told_of = [set(row.values) for row in rows if row.model is table.model]
        assert set().union(*told_of) == set(table.columns), table.store
        if table.model not in KEPT:
            assert all(names == set(table.columns) for names in told_of), table.store


@pytest.mark.parametrize("stretch", [256, 7, 100_000])
def test_a_sound_record_has_no_difference(
    told: World, monkeypatch: pytest.MonkeyPatch, stretch: int
) -> None:
    monkeypatch.setattr(running, "STRETCH", stretch)
    out, err = StringIO(), StringIO()
    call_command("fsck", stdout=out, stderr=err)
    assert f"{tip().size} entries" in out.getvalue()
    assert err.getvalue() == ""
