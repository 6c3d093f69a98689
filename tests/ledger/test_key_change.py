"""The log given over from one key to another, on the side of its operator."""

from contextlib import suppress
from io import StringIO
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command
from django.db import transaction
from tests.api.client import Api
from tests.ledger.as_served import AsServed
from tests.ledger.growing import NOW, append
from tests.ledger.setting_back import SetBack

from scalewitness.domain.errors import Fenced, LogContradicted, NotNow
from scalewitness.domain.translog.checkpoints import Checkpoint as Head
from scalewitness.domain.translog.key_changes import (
    BadKeyChange,
    changes_from,
    read_change,
)
from scalewitness.domain.translog.keys import KeyType, Signer, VerifierKey
from scalewitness.domain.translog.notes import open_checkpoint, signed
from scalewitness.domain.translog.receipts import prove
from scalewitness.ledger.models import Checkpoint, Entry, SignedHead
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.fencing import look_at_start, raise_fence
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.ledger.services.signing import (
    current_checkpoint,
    give_over,
    keys_of_all_notes,
    log_signer,
    sign_checkpoint,
)
from scalewitness_cli.alarms import Alarm, proves_fault
from scalewitness_cli.memory import Memory
from scalewitness_cli.witness import Seen, look

pytestmark = pytest.mark.django_db


class Keys:
    """Three keys of one log, put in place as its operator would."""

    def __init__(self, settings: LazySettings) -> None:
        self._settings = settings
        self.first = log_signer()
        name = self.first.name
        self.second, self.third = (Signer(name, KeyType.ED25519, bytes([n] * 32)) for n in (2, 3))

    def put(self, own: Signer, following: Signer | None = None, *retired: Signer) -> None:
        self._settings.LOG_SIGNING_KEY = own.secret()
        self._settings.LOG_NEXT_KEY = following.secret() if following else ""
        self._settings.LOG_RETIRED_KEYS = [str(one.verifier) for one in retired]

    @property
    def trusted(self) -> list[VerifierKey]:
        return [self.first.verifier]


@pytest.fixture
def keys(settings: LazySettings) -> Keys:
    return Keys(settings)


@pytest.fixture
def nobody(db: None) -> Api:
    return Api()


def test_the_change_is_signed_under_both_and_over_a_tree_of_its_own(keys: Keys) -> None:
    append(3)
    before = sign_checkpoint(NOW)
    keys.put(keys.first, keys.second)
    made = give_over(NOW)
    assert (
        (made.size, bytes(made.root)) == (tip().size, tip().root) == (before.size + 1, tip().root)
    )
    change = read_change(made.note, keys.first.verifier)
    assert (change.new, change.head.size) == (keys.second.verifier, made.size)
    assert len(Checkpoint.objects.filter(size=made.size)) == 1  # so that it has one text to cosign
    # Nobody who trusts the first key alone is shown anything strange.
    open_checkpoint(made.note, keys.first.verifier)


def test_from_then_on_every_process_that_has_the_key_signs_under_it(keys: Keys) -> None:
    append(2)
    old = receipt_of(Entry.objects.get(position=0), NOW)
    keys.put(keys.first, keys.second)
    give_over(NOW)
    append(1)
    assert sign_checkpoint(NOW).key == str(keys.second.verifier)
    keys.put(keys.second, None, keys.first)  # tidied up
    append(1)
    last = sign_checkpoint(NOW)
    assert last.key == str(keys.second.verifier)
    with pytest.raises(ValueError, match="no trusted key"):
        open_checkpoint(last.note, keys.first.verifier)
    assert prove(old, keys.first.verifier).position == 0
    assert prove(receipt_of(Entry.objects.get(position=0), NOW), keys.second.verifier)
    assert keys_of_all_notes() == [keys.second.verifier, keys.first.verifier]


def test_a_process_that_was_not_started_anew_signs_nothing_and_still_answers(
    keys: Keys, nobody: Api
) -> None:
    append(2)
    keys.put(keys.first, keys.second)
    made = give_over(NOW)
    keys.put(keys.first)
    append(1)
    with pytest.raises(LogContradicted, match="given over to"):
        sign_checkpoint(NOW)
    assert standing_fence() is None
    assert current_checkpoint(NOW).note == made.note
    shown = nobody.get("/log/checkpoint").body
    assert (shown["key"], shown["retired_keys"]) == (
        str(keys.second.verifier),
        [str(keys.first.verifier)],
    )
    assert nobody.get("/log/key-changes").body == {"changes": [made.note]}


def test_one_change_after_another_leads_to_the_last_key(keys: Keys) -> None:
    append(1)
    keys.put(keys.first, keys.second)
    notes = [give_over(NOW).note]
    keys.put(keys.second, keys.third, keys.first)
    notes.append(give_over(NOW).note)
    found = changes_from(keys.trusted, reversed(notes))
    assert [one.new for one in found] == [keys.second.verifier, keys.third.verifier]
    keys.put(keys.first, keys.third)  # old settings, and the key that it came to
    append(1)
    assert sign_checkpoint(NOW).key == str(keys.third.verifier)


def test_what_cannot_be_given_over(keys: Keys) -> None:
    def refused() -> str:
        with pytest.raises(NotNow) as why:
            give_over(NOW)
        return why.value.detail

    keys.put(keys.first, keys.second)
    assert "Nothing is in the log" in refused()
    append(1)
    keys.put(keys.first)
    assert "LOG_NEXT_KEY" in refused()
    keys.put(keys.first, keys.first)
    assert "key that the log has" in refused() or "signed for this log before" in refused()
    keys.put(keys.first, keys.second)
    give_over(NOW)
    assert "signed for this log before" in refused()  # twice
    keys.put(keys.second, keys.first)
    assert "signed for this log before" in refused()  # back to one that may be stolen
    keys.put(keys.second, keys.third)
    raise_fence("restored", NOW)
    with pytest.raises(Fenced):
        give_over(NOW)


def test_a_copy_set_back_to_before_the_change_is_fenced(keys: Keys, memory: Path) -> None:
    """The file outside the database has the note, under both keys."""
    append(4)
    sign_checkpoint(NOW)
    keys.put(keys.first, keys.second)
    assert "key-change" in (note := sign_and_forget_change())
    assert memory.read_text() == note
    keys.put(keys.second, None, keys.first)
    look_at_start(NOW)
    assert standing_fence() is not None


def sign_and_forget_change() -> str:
    notes = []
    with suppress(SetBack), transaction.atomic():
        notes.append(give_over(NOW).note)
        raise SetBack
    return notes[0]


def test_the_command_says_what_to_do_next(keys: Keys) -> None:
    with pytest.raises(CommandError, match="LOG_NEXT_KEY"):
        call_command("change_log_key")
    append(1)
    keys.put(keys.first, keys.second)
    out = StringIO()
    call_command("change_log_key", stdout=out)
    assert str(keys.second.verifier) in out.getvalue()
    assert f"also {keys.first.verifier}" in out.getvalue()


def test_a_note_that_only_one_of_them_signed_changes_nothing(keys: Keys) -> None:
    append(1)
    keys.put(keys.first, keys.second)
    text, _, below = give_over(NOW).note.partition("\n\n")
    by_old, by_new = (f"{text}\n\n{line}\n" for line in below.splitlines())
    with pytest.raises(BadKeyChange, match="the key that it names does not vouch"):
        read_change(by_old, keys.first.verifier)
    with pytest.raises(BadKeyChange, match="the key before does not vouch"):
        read_change(by_new, keys.first.verifier)
    assert changes_from(keys.trusted, [by_old, by_new]) == []


def first_difference() -> str:
    err = StringIO()
    with suppress(CommandError):
        call_command("fsck", "--only", "log", stdout=StringIO(), stderr=err)
    return err.getvalue().partition("\n")[0]


@pytest.mark.parametrize(
    ("by_first", "replaces", "found"),
    [
        (True, False, "signed under a key that the log had given up"),
        (False, True, "the change of keys does not hold: it does not name one key"),
        (False, False, ""),
    ],
)
def test_fsck_names_what_a_stolen_key_signed_and_a_change_that_is_none(
    keys: Keys, by_first: bool, replaces: bool, found: str
) -> None:
    append(1)
    keys.put(keys.first, keys.second)
    give_over(NOW)
    append(1)
    by = keys.first if by_first else keys.second
    tree = tip()
    Checkpoint.objects.create(
        size=tree.size,
        root=tree.root,
        key=str(by.verifier),
        note=str(signed(Head(by.name, tree.size, tree.root).body(), by)),
        replaces=str(keys.first.verifier) if replaces else None,
        signed_at=NOW,
    )
    SignedHead.objects.update(size=tree.size, root=tree.root)
    assert found in (said := first_difference())
    assert bool(found) == bool(said), said


def test_the_command_follows_what_is_served_and_refuses_the_stolen_key(
    keys: Keys, tmp_path: Path
) -> None:
    append(3)
    memory, seconds = Memory(tmp_path, keys.first.name), int(NOW.timestamp())
    assert isinstance(look(memory, AsServed(), keys.trusted, seconds), Seen)
    keys.put(keys.first, keys.second)
    give_over(NOW)
    append(300)
    sign_checkpoint(NOW)
    found = look(memory, AsServed(), keys.trusted, seconds)
    assert isinstance(found, Seen), found
    assert [one.new for one in found.changes] == [keys.second.verifier]
    append(1)
    tree = tip()
    stolen = signed(Head(keys.first.name, tree.size, tree.root).body(), keys.first)
    alarm = look(memory, AsServed(), keys.trusted, seconds, shown=stolen)
    assert isinstance(alarm, Alarm)
    assert (alarm.kind, proves_fault(alarm, keys.trusted)) == ("old_key", True)
