"""A log tells when it signed; the command says in words where that is too long ago, or where too
few of the witnesses that its keeper asks for have looked."""

import json
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import msgspec
import pytest
from django.conf import LazySettings
from tests.ledger.as_served import AsServed
from tests.ledger.growing import NOW, append
from tests.ledger.setting_back import sign_and_forget

from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_note, signature_line
from scalewitness.ledger.models import Checkpoint, Witness, WitnessEnd
from scalewitness.ledger.services.cosigning import take
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.ledger.services.signing import log_key, sign_checkpoint, sign_in_time
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.memory import Memory
from scalewitness_cli.timeliness import UNSHOWN, Wanted, keep_wanted, wanted_in, watch
from scalewitness_cli.witness import Seen

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
WITNESSES = [Signer(f"quiet{n}.example", KeyType.COSIGNATURE, bytes([n] * 32)) for n in range(1, 4)]


@pytest.fixture
def memory(tmp_path: Path) -> Memory:
    return Memory(tmp_path, log_key().name)


def remarks(
    memory: Memory, after: timedelta, log: AsServed | None = None, wanted: Wanted | None = None
) -> list[str]:
    """What is said by a clock that reads so long after the log signed."""
    found = watch(
        memory,
        log or AsServed(),
        [log_key()],
        int((NOW + after).timestamp()),
        wanted=wanted,
        witnesses=[one.verifier for one in WITNESSES],
    )
    assert isinstance(found.seen, Seen), found.seen
    assert memory.alarms() == []
    return found.remarks


# --- how old it is


def test_within_what_is_promised_nothing_is_said(memory: Memory) -> None:
    append(1)
    sign_checkpoint(NOW)
    for after in (timedelta(0), DAY, -timedelta(minutes=4)):
        assert remarks(memory, after) == []


def test_an_old_state_and_a_wrong_clock_are_a_sentence(memory: Memory) -> None:
    append(1)
    sign_checkpoint(NOW)
    (old,) = remarks(memory, 3 * DAY)
    assert "3 days old by this computer's clock, which reads" in old
    assert "promises one every 24 hours" in old
    assert "that clock is fast" in old
    (ahead,) = remarks(memory, -2 * DAY)
    assert "2 days ahead of this computer's clock" in ahead


def test_a_promise_of_a_year_is_not_taken_at_its_word(
    memory: Memory, settings: LazySettings
) -> None:
    append(1)
    sign_checkpoint(NOW)
    settings.LOG_SIGNS_WITHIN = 365 * 86_400
    assert remarks(memory, 6 * DAY) == []
    assert "promises one every 7 days" in remarks(memory, 8 * DAY)[0]


class Changed(AsServed):
    """A server that says otherwise of when it signed."""

    def __init__(self, **changes: object) -> None:
        self._changes = changes

    def freshness(self) -> bytes | None:
        told = json.loads(super().freshness() or b"")
        return json.dumps(told | self._changes).encode()


class Silent(AsServed):
    def freshness(self) -> bytes | None:
        return None


def test_a_time_that_the_log_did_not_sign_is_none(memory: Memory) -> None:
    append(2)
    sign_checkpoint(NOW)
    told = json.loads(AsServed().freshness() or b"")
    made_up = dict(told["map"], proof=[])
    for log in (Silent(), Changed(map=made_up), Changed(map=None), Changed(signs_within="soon")):
        assert remarks(memory, timedelta(0), log) == [UNSHOWN]


def test_where_nothing_came_in_the_log_signs_anew_in_time(
    memory: Memory, settings: LazySettings
) -> None:
    assert sign_in_time(NOW).size == 0  # nothing is promised of nothing
    append(1)
    first = sign_in_time(NOW)
    assert sign_in_time(NOW + 0.4 * DAY).size == first.size
    renewed = sign_in_time(NOW + 0.6 * DAY)
    assert renewed.size == first.size + 1
    assert sign_in_time(NOW + 0.7 * DAY).size == renewed.size
    assert remarks(memory, 1.5 * DAY) == []
    raise_fence("restored", NOW)
    assert sign_in_time(NOW + 3 * DAY).size == renewed.size


# --- who has seen it


def cosigned(by: Signer, after: timedelta = timedelta(0)) -> None:
    newest = Checkpoint.objects.order_by("-size").first()
    assert newest is not None
    at = int((NOW + after).timestamp())
    line = signature_line(read_note(newest.note).text, by, at)
    take(None, by.verifier, line, newest.size, bytes(newest.root), NOW + after)


def test_it_is_said_where_fewer_witnesses_looked_than_are_asked_for(memory: Memory) -> None:
    append(5)
    sign_checkpoint(NOW)
    two = Wanted(2, 86_400)
    (none,) = remarks(memory, timedelta(0), wanted=two)
    assert "2 of your 3 witnesses" in none
    assert "0 did" in none
    cosigned(WITNESSES[0])
    append(3)
    sign_checkpoint(NOW)
    assert "1 did" in remarks(memory, timedelta(0), wanted=two)[0]
    cosigned(WITNESSES[2])
    assert remarks(memory, timedelta(0), wanted=two) == []
    assert remarks(memory, timedelta(0), wanted=Wanted(0, 86_400)) == []
    late = remarks(memory, 2 * DAY, wanted=two)
    assert "0 did" in late[1]
    assert "after its first 6 entries" in late[1]


def test_lines_of_strangers_do_not_count(memory: Memory) -> None:
    append(1)
    sign_checkpoint(NOW)
    cosigned(Signer("else.example", KeyType.COSIGNATURE, bytes([9] * 32)))
    cosigned(Signer(WITNESSES[0].name, KeyType.COSIGNATURE, bytes([8] * 32)))  # of the same name
    assert "0 did" in remarks(memory, timedelta(0), wanted=Wanted(1, 86_400))[0]


def test_a_witness_who_saw_another_log_is_an_alarm(memory: Memory) -> None:
    append(3)
    sign_checkpoint(NOW)
    cosigned(WITNESSES[0])
    shown = json.loads(AsServed().cosigned([WITNESSES[0].name]) or b"")["notes"]

    class Other(AsServed):
        def cosigned(self, names: object) -> bytes | None:
            return json.dumps({"notes": shown}).encode()

    append(1)
    sign_checkpoint(NOW)
    shown[:] = [sign_and_forget(3)]
    append(5)
    sign_checkpoint(NOW)
    found = watch(
        memory,
        Other(),
        [log_key()],
        int(NOW.timestamp()),
        wanted=Wanted(1, 86_400),
        witnesses=[WITNESSES[0].verifier],
    )
    assert isinstance(found.seen, Alarm)
    assert found.seen.kind == "rewritten"


def test_what_is_asked_for_is_kept(tmp_path: Path) -> None:
    assert wanted_in(tmp_path / "none") is None
    keep_wanted(tmp_path / "witnesses", Wanted(2, 60))
    assert wanted_in(tmp_path / "witnesses") == Wanted(2, 60)
    assert msgspec.json.decode((tmp_path / "witnesses").read_bytes()) == {
        "at_least": 2,
        "within": 60,
    }


class Unrepentant(AsServed):
    """It told once that a witness is revoked, and serves its line as if it had not."""

    def __init__(self, lines: bytes | None) -> None:
        self._lines = lines

    def revoked_witnesses(self) -> bytes | None:
        return None

    def cosigned(self, names: Sequence[str]) -> bytes | None:
        return self._lines


def test_a_witness_that_was_revoked_is_not_taken_to_have_looked(memory: Memory) -> None:
    append(5)
    sign_checkpoint(NOW)
    two = Wanted(2, 86_400)
    for position, size in ((3, 10**6), (4, 1)):
        cosigned(witness := WITNESSES[position - 3])
        lines = AsServed().cosigned([one.name for one in WITNESSES])
        if position == 4:
            assert remarks(memory, timedelta(0), wanted=two) == [], "revoked for later trees alone"
        held = Witness.objects.get(key=str(witness.verifier))
        WitnessEnd.objects.create(witness=held, position=position, size=size)
    (one_looked,) = remarks(memory, timedelta(0), wanted=two)
    assert "the log shows that 1 did" in one_looked
    assert remarks(memory, timedelta(0), Unrepentant(lines), two) == [one_looked]
