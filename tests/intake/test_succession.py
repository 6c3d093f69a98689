"""A log that lost what others have seen is closed under its name and goes on under another."""

from io import StringIO
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command
from django.test import Client
from tests.ledger.growing import NOW, STATED, append
from tests.ledger.setting_back import sign_and_forget, without_guards
from tests.ledger.test_tree import tamper
from tests.world import World

from scalewitness.domain.errors import Fenced, LogContradicted, Malformed, NotNow
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.keys import KeyType, Signer, read_verifier
from scalewitness.domain.translog.notes import open_checkpoint
from scalewitness.domain.translog.receipts import prove
from scalewitness.domain.translog.successions import BadSuccession, chain_from, read_succession
from scalewitness.intake.succession import admit_loss
from scalewitness.ledger.models import Entry, Succession
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.fencing import look_at_start, raise_fence
from scalewitness.ledger.services.outside import read_outside
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.ledger.services.signing import current_checkpoint, log_signer, sign_checkpoint

pytestmark = pytest.mark.django_db

ANEW = Signer("anew.example/log", KeyType.ED25519, bytes(range(2, 34)))
STATEMENT = "The disk failed. The backup is of the night before, says the operator."


@pytest.fixture
def memory(tmp_path: Path, settings: LazySettings) -> Path:
    settings.LOG_MEMORY = str(tmp_path / "log_memory")
    return tmp_path / "log_memory"


class Keys:
    """Puts the old key or the new one in place, as an operator would and restart."""

    def __init__(self, settings: LazySettings) -> None:
        self._settings = settings
        self._old_secret, self.old = settings.LOG_SIGNING_KEY, log_signer().verifier

    def turn_to_new(self, retired: bool = True) -> None:
        self._settings.LOG_SIGNING_KEY = ANEW.secret()
        self._settings.LOG_RETIRED_KEYS = [str(self.old)] if retired else []

    def turn_to_old(self) -> None:
        self._settings.LOG_SIGNING_KEY = self._old_secret
        self._settings.LOG_RETIRED_KEYS = []


@pytest.fixture
def keys(settings: LazySettings) -> Keys:
    return Keys(settings)


def lose(kept: int = 300, lost: int = 7) -> str:
    """A fenced copy, and the newest checkpoint that others hold of the log. The last entry kept
    and the last one lost state the map."""
    append(kept - STATED)
    sign_checkpoint(NOW)
    newest = sign_and_forget(lost - STATED)
    raise_fence("restored", NOW)
    with pytest.raises(LogContradicted):
        adopt([read_outside(newest.encode())], NOW)
    return newest


def test_the_log_goes_on_under_the_new_name_and_says_what_it_lost(keys: Keys) -> None:
    lose()
    keys.turn_to_new()
    made = admit_loss([], STATEMENT, NOW)  # what it was refused against it remembers
    assert (made.position, made.missing) == (300, 7)
    assert standing_fence() is None
    entry = Entry.objects.get(position=300)
    said = read_succession(bytes(entry.leaf), 300)
    assert (said.old, said.new, said.last.size) == (keys.old, ANEW.verifier, 307)
    assert STATEMENT not in bytes(entry.leaf).decode()
    head, _ = open_checkpoint(current_checkpoint(NOW).note, ANEW.verifier)
    assert (head.origin, head.size, head.root) == (ANEW.name, 301 + STATED, tip().root)
    append(1)
    assert sign_checkpoint(NOW).size == 302 + 2 * STATED


def test_old_receipts_hold_and_new_ones_are_of_the_new_log(keys: Keys) -> None:
    append(5)
    old = receipt_of(Entry.objects.get(position=2), NOW)
    raise_fence("restored", NOW)
    keys.turn_to_new()
    admit_loss([], STATEMENT, NOW)
    assert prove(old, keys.old).position == 2
    new = receipt_of(Entry.objects.get(position=2), NOW)
    assert prove(new, ANEW.verifier).checkpoint.size == 6 + 2 * STATED


def test_a_process_with_the_old_key_signs_nothing_and_closes_nothing(
    keys: Keys, memory: Path
) -> None:
    lose()
    keys.turn_to_new()
    admit_loss([], STATEMENT, NOW)
    keys.turn_to_old()
    look_at_start(NOW)
    for act in (sign_checkpoint, current_checkpoint):
        with pytest.raises(LogContradicted, match=r"this log is anew\.example/log"):
            act(NOW)
    with pytest.raises(Fenced):  # the memory is of another log
        append(1)
    assert standing_fence() is None
    keys.turn_to_new()
    append(1)
    assert sign_checkpoint(NOW).size == 302 + 2 * STATED


def test_under_a_new_name_nothing_is_signed_before_the_loss_is_admitted(keys: Keys) -> None:
    append(3)
    sign_checkpoint(NOW)
    keys.turn_to_new()
    append(1)
    with pytest.raises(LogContradicted):
        sign_checkpoint(NOW)
    with pytest.raises(LogContradicted, match=r"LOG_SIGNING_KEY is of anew\.example"):
        adopt([], NOW)


def test_the_memory_of_the_closed_log_is_kept_aside(keys: Keys, memory: Path) -> None:
    newest = lose()
    assert memory.read_text() == newest
    keys.turn_to_new()
    admit_loss([], STATEMENT, NOW)
    assert memory.read_text() == current_checkpoint(NOW).note
    (aside,) = memory.parent.glob("log_memory.closed*")
    assert aside.read_text() == newest


def test_a_loss_known_from_the_memory_alone_is_named(keys: Keys, memory: Path) -> None:
    append(5)
    sign_checkpoint(NOW)
    sign_and_forget(4)
    look_at_start(NOW)
    keys.turn_to_new()
    assert admit_loss([], STATEMENT, NOW).missing == 4 + STATED


@pytest.mark.parametrize("others", [9 + STATED, 40])
def test_a_fork_cannot_be_passed_off_as_what_is_left(keys: Keys, others: int) -> None:
    """Entries in the place of those that others have seen."""
    append(300)
    newest = sign_and_forget(9)
    raise_fence("restored", NOW)
    without_guards(others)
    keys.turn_to_new()
    with pytest.raises(LogContradicted, match="Nothing may go on from it"):
        admit_loss([read_outside(newest.encode())], STATEMENT, NOW)
    assert standing_fence() is not None
    assert not Succession.objects.exists()


def test_it_is_refused_where_nothing_was_lost_or_the_key_is_no_new_one(
    keys: Keys, settings: LazySettings
) -> None:
    append(3)
    own = sign_checkpoint(NOW).note
    keys.turn_to_new()
    with pytest.raises(NotNow, match="not fenced"):
        admit_loss([], STATEMENT, NOW)
    raise_fence("restored", NOW)
    keys.turn_to_old()
    with pytest.raises(NotNow, match="is still of"):
        admit_loss([], STATEMENT, NOW)
    keys.turn_to_new(retired=False)
    with pytest.raises(NotNow, match="LOG_RETIRED_KEYS"):
        admit_loss([], STATEMENT, NOW)
    keys.turn_to_new()
    seed = bytes(range(32))
    assert Signer("same", KeyType.ED25519, seed).verifier.public == keys.old.public
    settings.LOG_SIGNING_KEY = Signer("same.example/log", KeyType.ED25519, seed).secret()
    with pytest.raises(NotNow, match="the old key under another name"):
        admit_loss([read_outside(own.encode())], STATEMENT, NOW)
    assert not Succession.objects.exists()
    assert standing_fence() is not None


def test_a_copy_with_damaged_tiles_does_not_go_on(keys: Keys) -> None:
    append(260)
    sign_checkpoint(NOW)
    raise_fence("restored", NOW)
    tamper("ledger_tile", "root = sha256('x')")
    keys.turn_to_new()
    with pytest.raises(LogContradicted):
        admit_loss([], STATEMENT, NOW)


def test_a_second_loss_closes_the_second_name(keys: Keys, settings: LazySettings) -> None:
    newest = lose(5, 2)
    keys.turn_to_new()
    admit_loss([], STATEMENT, NOW)
    raise_fence("restored", NOW)
    with pytest.raises(Malformed, match="Leave it out"):
        adopt([read_outside(newest.encode())], NOW)
    third = Signer("third.example/log", KeyType.ED25519, bytes(range(3, 35)))
    settings.LOG_RETIRED_KEYS = [str(keys.old), str(ANEW.verifier)]
    settings.LOG_SIGNING_KEY = Signer(keys.old.name, KeyType.ED25519, bytes(range(4, 36))).secret()
    with pytest.raises(NotNow, match="is still of"):
        admit_loss([], STATEMENT, NOW)
    settings.LOG_SIGNING_KEY = third.secret()
    admit_loss([], STATEMENT, NOW)
    shown = Client().get("/api/v1/log/origins").json()
    said = [read_succession(decode64(one["entry"]), one["position"]) for one in shown["closed"]]
    assert shown["key"] == str(third.verifier)
    assert [one.new.name for one in chain_from(keys.old.name, said, third.name)] == [
        ANEW.name, third.name,
    ]  # fmt: skip
    with pytest.raises(BadSuccession, match="how elsewhere became"):
        chain_from("elsewhere", said, third.name)
    with pytest.raises(BadSuccession):
        chain_from(keys.old.name, said[:1], third.name)


def test_everybody_reads_what_was_lost(keys: Keys, world: World) -> None:
    world.animal("A1")
    sign_checkpoint(world.now)
    sign_and_forget(2)
    raise_fence("restored", world.now)
    keys.turn_to_new()
    admit_loss([], STATEMENT, world.now)
    page = Client().get("/log").content.decode()
    assert "What was lost" in page
    assert STATEMENT in page
    assert f"at {Succession.objects.get().position} entries" in " ".join(page.split())
    (shown,) = Client().get("/api/v1/log/origins").json()["closed"]
    assert shown["statement"] == STATEMENT
    assert read_verifier(str(keys.old)).name in page


def test_the_command_says_what_it_did_and_fsck_finds_no_fault(
    keys: Keys, tmp_path: Path, capsys: pytest.CaptureFixture[str], world: World
) -> None:
    world.verified("V1")
    sign_checkpoint(world.now)
    (tmp_path / "newest").write_text(sign_and_forget(3))
    raise_fence("restored", world.now)
    size = tip().size
    with pytest.raises(CommandError, match="still of"):
        call_command("admit_loss", tmp_path / "newest", because=STATEMENT)
    keys.turn_to_new(retired=False)
    with pytest.raises(CommandError, match="into LOG_RETIRED_KEYS first"):
        call_command("admit_loss", tmp_path / "newest", because=STATEMENT)
    keys.turn_to_new()
    with pytest.raises(CommandError, match="1 to 4000"):
        call_command("admit_loss", tmp_path / "newest", because=" ")
    call_command("admit_loss", tmp_path / "newest", because=STATEMENT)
    told = capsys.readouterr().out
    assert f"{keys.old.name} is closed for good" in told
    missing = 3 + STATED
    last = size + missing - 1
    assert f"Known to be missing: {missing}, at the positions {size} to {last}" in told
    assert str(ANEW.verifier) in told
    call_command("fsck", stdout=StringIO())
    call_command("replay", stdout=StringIO())
    with pytest.raises(CommandError, match="it lost others is admitted"):
        call_command("fsck", "--against", str(tmp_path / "newest"), stdout=StringIO())


def test_what_an_entry_must_say_to_close_a_log(keys: Keys) -> None:
    lose(5, 2)
    keys.turn_to_new()
    admit_loss([], STATEMENT, NOW)
    entry = bytes(Entry.objects.get(position=5).leaf)
    assert read_succession(entry, 5).missing == 2
    for said, wrong in (
        (entry, 6),
        (bytes(Entry.objects.get(position=4).leaf), 4),
        (entry.replace(b'"missing":2', b'"missing":1'), 5),
        (entry.replace(keys.old.name.encode(), ANEW.name.encode()), 5),
        (entry.replace(b"\\n7\\n", b"\\n8\\n"), 5),
    ):
        with pytest.raises(BadSuccession):
            read_succession(said, wrong)
