"""A checkpoint leaves only after its own commit, where PostgreSQL waits for a standby too."""

from pathlib import Path

import pytest
from tests.api.client import Api
from tests.ledger.growing import NOW
from tests.no_standby import CANCEL, no_standby, waiting_at
from tests.world import World

from scalewitness.ledger.models import Checkpoint, Entry
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.postgresql import CommitUnknown


def shown() -> int:
    """How many entries the log vouches for to everybody."""
    head = Api().get("/log/checkpoint").body
    return int(head["size"])


def test_what_only_the_primary_has_is_in_no_checkpoint(
    lasting_world: World, memory: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wait for the standby is cancelled, at the second commit, which is of the signature: the
    checkpoint can be read in the database, and a standby that took over would not know of it."""
    world = lasting_world
    earlier = sign_checkpoint(NOW)
    animal = world.animal("G1")
    entry = Entry.objects.filter(about=animal.pk).latest("position")
    own = Api(world.odile)
    with no_standby() as operator, operator.at_each_wait(CANCEL):
        for _ in range(2):  # nor does the next who signs give it out, without a commit of their own
            with waiting_at(monkeypatch, 2), pytest.raises(CommitUnknown):
                sign_checkpoint(NOW)
            larger = Checkpoint.objects.latest("size")
            assert larger.size > entry.position >= earlier.size
            assert shown() == earlier.size
            assert memory.read_text() == earlier.note
        receipt = own.get(f"/receipts/{entry.fact}")
        assert (receipt.status, receipt.code) == (503, "busy")
    assert sign_checkpoint(NOW) == larger
    assert (shown(), memory.read_text()) == (larger.size, larger.note)
    assert own.get(f"/receipts/{entry.fact}").status == 200
