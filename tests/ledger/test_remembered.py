"""The latest checkpoint is remembered outside the database."""

from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.db import transaction
from tests.ledger.growing import STATED
from tests.ledger.setting_back import append_others, sign_and_forget, signed_now
from tests.ledger.test_tree import NOW, append
from tests.world import START, World

from scalewitness.domain.errors import (
    Fenced,
    LogContradicted,
)
from scalewitness.ledger.models import Checkpoint
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.fencing import look_at_start, raise_fence, watch
from scalewitness.ledger.services.memory import remember
from scalewitness.ledger.services.outside import read_outside
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.mail.services.delivering import claim

pytestmark = pytest.mark.django_db


def test_the_latest_checkpoint_is_kept_outside(memory: Path) -> None:
    append(3)
    note = sign_checkpoint(NOW).note
    assert memory.read_text() == note
    append(1)
    note = sign_checkpoint(NOW).note
    assert memory.read_text() == note
    assert watch(NOW) is None


def test_a_database_set_back_is_fenced_at_the_start(memory: Path) -> None:
    append(3)
    sign_and_forget(2)
    look_at_start(NOW)
    fence = standing_fence()
    assert fence is not None
    lost = 2 + STATED
    assert f"has {3 + lost} entries, this copy 3: the last {lost} are lost" in fence.reason


def test_a_database_set_back_takes_and_sends_nothing_even_before_it_is_fenced(
    memory: Path, world: World
) -> None:
    world.invite(world.greta, world.animal("A1"))
    sign_and_forget(2)
    with pytest.raises(Fenced):
        append_others(1)
    assert claim(START + timedelta(days=1), 10) == []


def test_a_fork_is_fenced_before_it_is_signed(memory: Path, settings: LazySettings) -> None:
    append(3)
    sign_checkpoint(NOW)
    sign_and_forget(2)
    settings.LOG_MEMORY = ""
    append_others(6)
    settings.LOG_MEMORY = str(memory)
    with pytest.raises(Fenced):
        sign_checkpoint(NOW)
    fence = standing_fence()
    assert fence is not None
    assert "a fork" in fence.reason
    assert Checkpoint.objects.count() == 1


def test_a_set_back_database_is_not_adopted_against_an_older_checkpoint(memory: Path) -> None:
    append(3)
    older = sign_checkpoint(NOW)
    sign_and_forget(2)
    look_at_start(NOW)
    lacks = f"has {older.size + 2 + STATED} entries, this copy {older.size}"
    with pytest.raises(LogContradicted, match=lacks):
        adopt([read_outside(older.note.encode())], NOW)


@pytest.mark.parametrize("text", ["", "something else"])
def test_a_memory_that_is_no_checkpoint_closes_the_log(memory: Path, text: str) -> None:
    append(3)
    sign_checkpoint(NOW)
    memory.write_text(text)
    with pytest.raises(Fenced):
        append(1)
    assert watch(NOW) is not None
    with pytest.raises(LogContradicted, match="move it away"):
        adopt([read_outside(signed_now().encode())], NOW)


def test_what_is_remembered_is_compared_and_swapped(memory: Path) -> None:
    """A slower process with an older head must not set the memory back."""
    append(3)
    older, older_note = tip(), signed_now()
    append(2)
    remember(signed_now(), tip())
    with pytest.raises(LogContradicted):
        remember(older_note, older)
    assert memory.read_text() == signed_now()


def test_adopting_teaches_the_memory_what_was_seen_outside(memory: Path) -> None:
    append(3)
    sign_checkpoint(NOW)
    append(4)
    note = signed_now()
    raise_fence("restored", NOW)
    adopt([read_outside(note.encode())], NOW)
    assert memory.read_text() == note


def test_a_memory_that_cannot_be_written_stops_the_signing(
    memory: Path, settings: LazySettings
) -> None:
    append(3)
    settings.LOG_MEMORY = str(memory / "nowhere" / "file")
    with pytest.raises(OSError, match="nowhere"), transaction.atomic():
        sign_checkpoint(NOW)
    assert not Checkpoint.objects.exists()
