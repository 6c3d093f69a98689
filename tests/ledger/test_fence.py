"""A log that may not be the one others saw takes, signs and sends nothing, and is read."""

from contextlib import suppress
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client
from tests.api.client import Api
from tests.ledger.test_tree import NOW, append, tamper
from tests.operator import metrics
from tests.witnessing import cosigned, keepers_witness
from tests.world import PASSWORD, START, World, new_id, probing

from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import (
    BadSignature,
    Fenced,
    LogContradicted,
    Malformed,
    NotShownWhole,
)
from scalewitness.domain.translog.checkpoints import Checkpoint as Head
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_line, signature_line, signed
from scalewitness.domain.translog.receipts import Receipt, read_note
from scalewitness.intake.tasks import lapse_due_offers, update_records
from scalewitness.ledger.models import Checkpoint, Entry, Fence, SignedHead, Witness
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import place_proof, tip
from scalewitness.ledger.queries.witnesses import cosigned_note
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.cosigning import take
from scalewitness.ledger.services.fencing import look_at_start, raise_fence, watch
from scalewitness.ledger.services.memory import remember
from scalewitness.ledger.services.outside import read_outside
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint
from scalewitness.ledger.services.writing import Draft, Writer
from scalewitness.ledger.tasks import sign_head
from scalewitness.mail.models import Letter
from scalewitness.mail.services.delivering import claim

pytestmark = pytest.mark.django_db


@pytest.fixture
def memory(tmp_path: Path, settings: LazySettings) -> Path:
    settings.LOG_MEMORY = str(tmp_path / "log_memory")
    return tmp_path / "log_memory"


class SetBack(Exception):
    """Ends a transaction of its own accord: afterwards the database is as it was before."""


def sign_and_forget(count: int) -> str:
    """Append, sign and give out a checkpoint; then the database is set back to before."""
    notes = []
    with suppress(SetBack), transaction.atomic():
        append(count)
        notes.append(sign_checkpoint(NOW).note)
        raise SetBack
    return notes[0]


def append_others(count: int) -> None:
    """Facts that nobody saw, in the place of those that were lost."""
    with transaction.atomic():
        writer = Writer()
        for _ in range(count):
            writer.add(Draft(new_id(), "visit_accepted", None, None, NOW, None, {}), NOW)
        writer.flush()


def without_guards(count: int) -> None:
    """The same, by an operator who takes the fence away, and puts it back."""
    tamper("ledger_fence", "state = 'lifted'")
    append_others(count)
    tamper("ledger_fence", "state = 'raised'")


# --- closed -------------------------------------------------------------------------------


def test_a_fenced_log_takes_nothing_by_any_way(world: World) -> None:
    animal = world.animal("A1")
    odile = Api(world.odile)
    size = tip().size
    raise_fence("restored", START)
    with pytest.raises(Fenced):
        world.call(world.odile, animal, "male")
    with pytest.raises(Fenced):
        append(1)
    item = world.item("call_made", animal.pk, probing("male", "A1"))
    edit = {
        "id": str(new_id()),
        "record": f"animals/{animal.pk}",
        "base_version": 1,
        "fields": {"name": "Ash"},
    }
    for sent in ([item], [edit], [edit, item], [{"kind": "nonsense"}]):
        pushed = odile.post("/push", {"items": sent})
        assert (pushed.status, pushed.code) == (503, "fenced")
    with pytest.raises(Fenced):
        create_collection(world.odile, new_id(), "Another", START)
    renamed = odile.patch(f"/animals/{animal.pk}", {"name": "Ash"}, {"If-Match": '"v1"'})
    assert (renamed.status, renamed.code) == (503, "fenced")
    assert lapse_due_offers() == update_records() == 0
    assert (tip().size, Entry.objects.count()) == (size, size)


def test_a_fenced_log_is_read(world: World) -> None:
    animal = world.verified("V1")
    odile = Api(world.odile)
    raise_fence("restored", START)
    assert odile.get(f"/animals/{animal.pk}/standing").body["label"] == "verified male"
    browser = Client()
    entered = {"login": world.odile.email, "password": PASSWORD}
    assert browser.post("/accounts/login/", entered).status_code == 302
    page = browser.get(f"/animals/{animal.pk}")
    assert page.status_code == 200
    assert "can only be read for now" in page.content.decode()
    sent = browser.post(f"/animals/{animal.pk}/calls/new/probing", {})
    assert sent.status_code == 503
    assert "Nothing was recorded" in sent.content.decode()
    ready = Client().get("/health/ready")
    assert (ready.status_code, ready.json()["log"]) == (200, "fenced")
    assert "\nscalewitness_log_fenced 1\n" in metrics().content.decode()


def test_without_a_fence_no_page_speaks_of_one(world: World) -> None:
    browser = Client()
    browser.force_login(world.odile)
    assert "can only be read" not in browser.get("/animals").content.decode()
    assert "\nscalewitness_log_fenced 0\n" in metrics().content.decode()


def test_nothing_is_signed_behind_a_fence() -> None:
    append(3)
    raise_fence("restored", NOW)
    with pytest.raises(Fenced):
        sign_checkpoint(NOW)
    sign_head()  # the task says so in the worker's log and waits
    assert not Checkpoint.objects.exists()
    assert SignedHead.objects.get().size == 0


def test_what_was_signed_before_may_still_be_shown() -> None:
    append(3)
    kept = sign_checkpoint(NOW)
    raise_fence("restored", NOW)
    assert sign_checkpoint(NOW).pk == kept.pk


def test_no_letter_leaves_behind_a_fence(world: World) -> None:
    world.invite(world.greta, world.animal("A1"))
    # One that a worker of the lost database had claimed, too: its lease has run out.
    Letter.objects.update(state="sending", claimed_until=START)
    raise_fence("restored", START)
    later = START + timedelta(days=1)
    assert claim(later, 10) == []
    append_size = tip().size
    adopt([read_outside(signed_now().encode())], later)
    assert len(claim(later, 10)) == 1
    assert tip().size == append_size


def signed_now() -> str:
    """A checkpoint over the log as it is, as a witness would have kept it."""
    head = tip()
    return str(signed(Head(log_signer().name, head.size, head.root).body(), log_signer()))


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
    assert sign_checkpoint(NOW).size == 321


def test_a_smaller_copy_is_refused_and_stays_fenced() -> None:
    append(300)
    note = sign_and_forget(9)
    raise_fence("restored", NOW)
    with pytest.raises(LogContradicted) as refused:
        adopt([read_outside(note.encode())], NOW)
    assert "has 309 entries, this copy 300: the last 9 are lost" in refused.value.detail
    assert standing_fence() is not None


@pytest.mark.parametrize("others", [9, 40])
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
    assert "This copy has 5 entries and continues the checkpoint of 5" in told
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
    older = sign_checkpoint(NOW).note
    append(4)
    own = sign_checkpoint(NOW)
    known_witness(own)
    raise_fence("restored", NOW)
    served = cosigned_note(own)
    for note, why in (
        (older, "newest checkpoint given has 5 entries; this copy held 9"),
        (own.note, "This copy held the checkpoint of 9 entries itself"),
        (served, "This copy held the checkpoint of 9 entries itself"),
    ):
        with pytest.raises(NotShownWhole) as refused:
            adopt([read_outside(note.encode())], NOW)
        assert why in refused.value.detail
        assert "checkpoint of more than 9 entries" in refused.value.detail
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
    memory.unlink()
    newest = sign_and_forget(4)
    memory.unlink()
    raise_fence("restored", NOW)
    with pytest.raises(LogContradicted):
        adopt([read_outside(newest.encode())], NOW)
    assert memory.read_text() == newest
    memory.unlink()
    with pytest.raises(LogContradicted, match="has 9 entries, this copy 5"):
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


# --- remembered outside the database ------------------------------------------------------


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
    assert "has 5 entries, this copy 3: the last 2 are lost" in fence.reason


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
    older = sign_checkpoint(NOW).note
    sign_and_forget(2)
    look_at_start(NOW)
    with pytest.raises(LogContradicted, match="has 5 entries, this copy 3"):
        adopt([read_outside(older.encode())], NOW)


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
