"""A fence is lifted only by what shows the copy whole."""

from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command
from django.test import Client
from tests.ledger.growing import STATED
from tests.ledger.setting_back import sign_and_forget, signed_now, without_guards
from tests.ledger.test_tree import NOW, append, tamper
from tests.witnessing import cosigned, keepers_witness
from tests.world import new_id

from scalewitness.domain.errors import (
    BadSignature,
    LogContradicted,
    Malformed,
    NotShownWhole,
)
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_line, signature_line
from scalewitness.domain.translog.receipts import Receipt, read_note
from scalewitness.ledger.models import Checkpoint, Entry, Fence, SignedHead, Witness
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import place_proof, tip
from scalewitness.ledger.queries.witnesses import cosigned_note
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.cosigning import take
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.ledger.services.outside import read_outside
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint

pytestmark = pytest.mark.django_db


def test_a_fence_raised_twice_is_one_fence() -> None:
    first = raise_fence("restored", NOW)
    assert raise_fence("something else", NOW) == first
    assert Fence.objects.count() == 1


# --- adopted ------------------------------------------------------------------------------


def test_a_copy_that_continues_the_outside_checkpoint_is_adopted() -> None:
    append(300)
    note = signed_now()
    append(20)
    raise_fence("restored", NOW)
    adopted = adopt([read_outside(note.encode())], NOW)
    assert (adopted.head.size, adopted.shown.size) == (320, 300)
    assert adopted.by == "a checkpoint that this copy did not hold"
    assert standing_fence() is None
    assert Fence.objects.latest("pk").note == note
    assert SignedHead.objects.get().size == 300  # nothing smaller is signed from now on
    append(1)
    assert sign_checkpoint(NOW).size == 321 + STATED


def test_a_smaller_copy_is_refused_and_stays_fenced() -> None:
    append(300)
    note = sign_and_forget(9)
    raise_fence("restored", NOW)
    with pytest.raises(LogContradicted) as refused:
        adopt([read_outside(note.encode())], NOW)
    lost = 9 + STATED
    assert f"has {300 + lost} entries, this copy 300: the last {lost} are lost" in (
        refused.value.detail
    )
    assert standing_fence() is not None


@pytest.mark.parametrize("others", [9 + STATED, 40])
def test_a_fork_is_refused_and_stays_fenced(others: int) -> None:
    append(300)
    note = sign_and_forget(9)
    raise_fence("restored", NOW)
    without_guards(others)
    with pytest.raises(LogContradicted) as refused:
        adopt([read_outside(note.encode())], NOW)
    assert "a fork" in refused.value.detail
    assert standing_fence() is not None


def test_one_checkpoint_that_contradicts_outweighs_others() -> None:
    append(5)
    fine = signed_now()
    ahead = sign_and_forget(2)
    raise_fence("restored", NOW)
    with pytest.raises(LogContradicted):
        adopt([read_outside(fine.encode()), read_outside(ahead.encode())], NOW)


def test_a_receipt_serves_as_well() -> None:
    append(7)
    note = signed_now()
    entry = Entry.objects.get(position=4)
    receipt = Receipt(bytes(entry.leaf), 4, tuple(place_proof(4, 7)), read_note(note))
    raise_fence("restored", NOW)
    assert adopt([read_outside(str(receipt).encode())], NOW).shown.size == 7
    damaged = str(receipt).replace("index 4", "index 5").encode()
    with pytest.raises(BadSignature):
        read_outside(damaged)


def test_a_retired_key_counts_and_a_strangers_does_not(settings: LazySettings) -> None:
    append(4)
    note = signed_now().encode()
    old = log_signer().verifier
    settings.LOG_SIGNING_KEY = Signer(old.name, KeyType.ED25519, bytes(32)).secret()
    with pytest.raises(BadSignature):
        read_outside(note)
    settings.LOG_RETIRED_KEYS = [str(old)]
    assert read_outside(note).tree.size == 4


def test_the_empty_log_proves_nothing_about_a_full_one() -> None:
    note = signed_now()
    append(4)
    raise_fence("restored", NOW)
    with pytest.raises(Malformed):
        adopt([read_outside(note.encode())], NOW)


def test_a_copy_with_damaged_tiles_is_not_adopted() -> None:
    append(260)
    note = sign_checkpoint(NOW).note
    raise_fence("restored", NOW)
    tamper("ledger_tile", "root = sha256('x')")
    with pytest.raises(LogContradicted, match="do not give its root"):
        adopt([read_outside(note.encode())], NOW)


def test_the_command_says_what_it_did(
    tmp_path: Path, memory: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    append(5)
    held = tmp_path / "held.checkpoint"
    held.write_text(sign_checkpoint(NOW).note)
    call_command("adopt", held)
    assert "No fence stood" in capsys.readouterr().out
    raise_fence("restored", NOW)
    call_command("adopt")
    told = capsys.readouterr().out
    size = 5 + STATED
    assert f"This copy has {size} entries and continues the checkpoint of {size}" in told
    assert "shown by the file of LOG_MEMORY" in told
    assert standing_fence() is None


# --- shown to be whole --------------------------------------------------------------------


def cosigned_file(note: str, signer: Signer, at: int) -> bytes:
    whole = read_note(note)
    return str(whole.with_lines([signature_line(whole.text, signer, at)])).encode()


def known_witness(checkpoint: Checkpoint) -> Signer:
    """One whose line the log has taken under a checkpoint."""
    witness = keepers_witness()
    sent = cosigned(checkpoint, witness, at=int(NOW.timestamp()))
    line = read_line(sent["cosignature"])
    take(new_id(), witness.verifier, line, checkpoint.size, bytes(checkpoint.root), NOW)
    return witness


def test_what_the_copy_held_itself_opens_nothing() -> None:
    append(5)
    older = sign_checkpoint(NOW)
    append(4)
    own = sign_checkpoint(NOW)
    known_witness(own)
    raise_fence("restored", NOW)
    served = cosigned_note(own)
    for note, why in (
        (
            older.note,
            f"newest checkpoint given has {older.size} entries; this copy held {own.size}",
        ),
        (own.note, f"This copy held the checkpoint of {own.size} entries itself"),
        (served, f"This copy held the checkpoint of {own.size} entries itself"),
    ):
        with pytest.raises(NotShownWhole) as refused:
            adopt([read_outside(note.encode())], NOW)
        assert why in refused.value.detail
        assert f"checkpoint of more than {own.size} entries" in refused.value.detail
    with pytest.raises(NotShownWhole, match="No checkpoint was given"):
        adopt([], NOW)
    assert standing_fence() is not None


def test_a_witness_of_this_log_that_cosigns_anew_opens_it() -> None:
    append(9)
    own = sign_checkpoint(NOW)
    witness = known_witness(own)
    raise_fence("restored", NOW)
    stranger = cosigned_file(own.note, keepers_witness(2), 2_000_000_000)
    with pytest.raises(NotShownWhole):
        adopt([read_outside(stranger)], NOW)
    fresh = cosigned_file(own.note, witness, 2_000_000_000)
    adopted = adopt([read_outside(fresh)], NOW)
    assert adopted.by == f"the witness {witness.name}"
    assert standing_fence() is None


def test_a_line_that_came_to_the_copy_behind_its_fence_opens_nothing() -> None:
    """A witness on a timetable that looked last before the backup knows nothing of what came
    after, and cosigns what the copy shows it."""
    append(5)
    witness = known_witness(sign_checkpoint(NOW))
    append(4)
    own = sign_checkpoint(NOW)
    raise_fence("restored", NOW)
    line = read_line(cosigned(own, witness, at=int(NOW.timestamp()))["cosignature"])
    keeper = Witness.objects.get().keeper
    take(keeper, witness.verifier, line, own.size, bytes(own.root), NOW)
    with pytest.raises(NotShownWhole):
        adopt([read_outside(cosigned_note(own).encode())], NOW)


def test_a_memory_older_than_the_copy_shows_nothing(memory: Path) -> None:
    append(5)
    older = sign_checkpoint(NOW).note
    append(4)
    sign_checkpoint(NOW)
    raise_fence("restored", NOW)
    memory.write_text(older)
    with pytest.raises(NotShownWhole, match="no file of LOG_MEMORY reaches as far"):
        adopt([], NOW)


def test_what_opening_was_refused_against_is_not_forgotten(memory: Path) -> None:
    append(3)
    sign_checkpoint(NOW)
    append(2)
    between = signed_now()  # larger than what the copy held, smaller than what it lacks
    here = tip().size
    memory.unlink()
    newest = sign_and_forget(4)
    memory.unlink()
    raise_fence("restored", NOW)
    with pytest.raises(LogContradicted):
        adopt([read_outside(newest.encode())], NOW)
    assert memory.read_text() == newest
    memory.unlink()
    lacks = f"has {here + 4 + STATED} entries, this copy {here}"
    with pytest.raises(LogContradicted, match=lacks):
        adopt([read_outside(between.encode())], NOW)
    assert Fence.objects.filter(state="refused").count() == 1
    assert Client().get("/health/ready").json()["log"] == "fenced"


def test_a_log_that_lacks_what_it_is_shown_is_fenced() -> None:
    append(3)
    newest = sign_and_forget(2)
    with pytest.raises(LogContradicted):
        adopt([read_outside(newest.encode())], NOW)
    assert standing_fence() is not None


@pytest.mark.parametrize("text", ["", "c2sp.org/tlog-proof@v1\n", "not a note\n"])
def test_the_command_refuses_a_file_that_shows_nothing(tmp_path: Path, text: str) -> None:
    raise_fence("restored", NOW)
    (tmp_path / "file").write_text(text)
    with pytest.raises(CommandError, match="stays as it is"):
        call_command("adopt", tmp_path / "file")
    with pytest.raises(CommandError, match="No such file"):
        call_command("adopt", tmp_path / "nothing")
    assert standing_fence() is not None
