"""A database that was restored or replaced is noticed by itself; `deploy/backups/try_loss` does it
with real backups."""

from pathlib import Path

import pytest
from tests.ledger.setting_back import signed_now
from tests.ledger.test_tree import NOW, append

from scalewitness.domain.errors import Fenced
from scalewitness.ledger.models import Timeline
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.fencing import look_at_start, watch
from scalewitness.ledger.services.moving import MOVED
from scalewitness.ledger.services.outside import read_outside
from scalewitness.ledger.services.signing import sign_checkpoint

pytestmark = pytest.mark.django_db


def moved(timeline: int = 1) -> None:
    """As the log was last seen whole on another server than this."""
    Timeline.objects.create(system="7300000000000000001", timeline=timeline, size=0, at=NOW)


def test_the_server_is_noted_once() -> None:
    append(3)
    sign_checkpoint(NOW)
    sign_checkpoint(NOW)
    noted = Timeline.objects.get()
    assert noted.timeline == 1
    assert int(noted.system) > 0
    assert watch(NOW) is None


def test_the_same_cluster_on_another_timeline_is_another_server(memory: Path) -> None:
    append(3)
    sign_checkpoint(NOW)
    here = Timeline.objects.get()
    Timeline.objects.create(system=here.system, timeline=2, size=3, at=NOW)
    memory.unlink()
    fence = watch(NOW)
    assert fence is not None
    assert fence.reason == MOVED


def test_a_restored_log_is_fenced_at_the_start_and_before_it_is_signed() -> None:
    append(3)
    sign_checkpoint(NOW)
    moved()
    append(1)
    with pytest.raises(Fenced):
        sign_checkpoint(NOW)
    look_at_start(NOW)
    fence = standing_fence()
    assert fence is not None
    assert fence.reason == MOVED


def test_what_outlived_the_server_opens_it_by_itself(memory: Path) -> None:
    """As after a standby was promoted, which lost nothing."""
    append(3)
    sign_checkpoint(NOW)
    moved()
    append(1)
    assert sign_checkpoint(NOW).size > 3
    assert Timeline.objects.count() == 3


def test_an_older_memory_does_not(memory: Path) -> None:
    append(3)
    older = sign_checkpoint(NOW).note
    append(1)
    sign_checkpoint(NOW)
    memory.write_text(older)
    moved()
    fence = watch(NOW)
    assert fence is not None
    assert fence.reason == MOVED


def test_a_log_that_signed_nothing_yet_may_move() -> None:
    watch(NOW)
    moved()
    assert watch(NOW) is None


def test_adopting_notes_the_new_server() -> None:
    append(3)
    sign_checkpoint(NOW)
    append(1)
    moved()
    assert watch(NOW) is not None
    adopt([read_outside(signed_now().encode())], NOW)
    assert watch(NOW) is None
    append(1)
