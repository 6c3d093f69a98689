"""What was erased after a backup was made comes back with it. A list by ids alone, kept elsewhere,
says what to erase again."""

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from tests.everything import a_text_of
from tests.intake.test_erasure import erase, erasures, fsck, tables_with
from tests.world import World

from scalewitness.domain.erasure import ERASED_NAME

pytestmark = pytest.mark.django_db


def listed() -> str:
    out = StringIO()
    call_command("erasures", stdout=out)
    return out.getvalue()


def repeat(kept: Path) -> str:
    out = StringIO()
    call_command("erasures", "--repeat", str(kept), stdout=out, stderr=out)
    return out.getvalue()


def test_a_restored_copy_is_rid_of_it_again_and_of_nothing_else(
    world: World, tmp_path: Path
) -> None:
    fact, note = a_text_of(world)
    address = world.pim.email
    as_of_the_backup = transaction.savepoint()
    erase("texts", str(fact))
    erase("keeper", address)
    kept = tmp_path / "erasures.jsonl"
    kept.write_text(listed())
    assert address not in kept.read_text()
    transaction.savepoint_rollback(as_of_the_backup)
    assert tables_with(note)
    assert tables_with(address)
    assert repeat(kept) == "2 on the list, 2 erased anew.\n"
    assert not tables_with(note)
    assert not tables_with(address)
    assert [(about, body["what"]) for about, body in erasures()] == [
        (fact, "text"), (world.pim.pk, "name"),
    ]  # fmt: skip
    assert tables_with(world.odile.email)
    assert repeat(kept) == "2 on the list, 0 erased anew.\n"
    assert "no difference" in fsck()


def test_what_is_still_owed_keeps_an_address_and_is_told(world: World, tmp_path: Path) -> None:
    kept = tmp_path / "erasures.jsonl"
    who = {"about": str(world.odile.pk), "what": "name", "wish": "author"}
    kept.write_text(json.dumps({"at": "2026", **who}))
    world.sold(world.verified("E-1"))
    with pytest.raises(CommandError, match="1 could not be erased"):
        repeat(kept)
    world.odile.refresh_from_db()
    assert world.odile.name != ERASED_NAME


@pytest.mark.parametrize(
    "line",
    [
        "no JSON",
        "{}",
        '{"at":"2026","about":"odile@keepers.example","what":"name","wish":"author"}',
    ],
)
def test_nothing_is_erased_where_a_line_cannot_be_read(
    world: World, tmp_path: Path, line: str
) -> None:
    fact, note = a_text_of(world)
    good = f'{{"at":"2026","about":"{fact}","what":"text","wish":"author"}}'
    kept = tmp_path / "erasures.jsonl"
    kept.write_text(f"{good}\n{line}\n")
    with pytest.raises(CommandError, match="line 2"):
        repeat(kept)
    assert tables_with(note)
