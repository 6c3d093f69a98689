"""The page tells how many watch the log, and nothing of who."""

from uuid import UUID

from django.utils import timezone
from tests.pages.browser import Browser
from tests.witnessing import keepers_witness
from tests.world import World

from scalewitness.domain.translog.notes import read_note, signature_line
from scalewitness.ledger.services.cosigning import take_from_keeper
from scalewitness.ledger.services.signing import sign_checkpoint


def test_nobody_watches_yet(anyone: Browser) -> None:
    assert "Nobody outside has signed yet" in anyone.open("/log").text


def test_who_watches_is_counted(world: World, anyone: Browser) -> None:
    world.animal("W-1")
    now = timezone.now()
    head = sign_checkpoint(now)
    for number in (1, 2):
        signer = keepers_witness(number)
        line = signature_line(read_note(head.note).text, signer, int(now.timestamp()))
        take_from_keeper(UUID(int=number), signer.verifier, line, head.size, bytes(head.root), now)
    text = anyone.open("/log").text
    assert "2 keepers and 0 outside witnesses have so far signed" in text
    assert f"{head.size} 2 0" in " ".join(text.split())
    assert "witness/0" not in text
