"""Checkpoints sent to an outside witness through a real socket. The witness is the tests'
own, held to published answers in ``test_small_witness``."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from socket import socket
from typing import Any

import pytest
from django.conf import LazySettings
from django.conf import settings as configured
from tests import operator
from tests.ledger.test_tree import append
from tests.witnessing import Answer, SmallWitness, served

from scalewitness.celery import app
from scalewitness.domain.translog.keys import BadKey, KeyType, Signer, read_signer
from scalewitness.domain.translog.notes import open_note, signature_line
from scalewitness.domain.translog.witnessing import read_target
from scalewitness.ledger.models import Cosignature, Witness, WitnessPush
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.queries.witnesses import cosigned_note, heads_seen
from scalewitness.ledger.services.pushing import LONGEST_WAIT, post, push_due
from scalewitness.ledger.services.signing import sign_checkpoint

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
LOG = read_signer(configured.LOG_SIGNING_KEY)
SIGNER = Signer("watch.example/quiet", KeyType.COSIGNATURE, bytes(range(32)))


class Outside:
    """A witness on a socket; ``answers`` are given first, without asking it."""

    def __init__(self) -> None:
        self.witness = SmallWitness(SIGNER, {LOG.name: LOG.verifier}, clock=NOW.timestamp)
        self.asked: list[bytes] = []
        self.answers: list[Answer] = []
        self.url = ""

    def add_checkpoint(self, body: bytes) -> Answer:
        self.asked.append(body)
        return self.answers.pop(0) if self.answers else self.witness.add_checkpoint(body)


@pytest.fixture
def outside(settings: LazySettings) -> Iterator[Outside]:
    one = Outside()
    with served(one.add_checkpoint) as one.url:
        settings.LOG_WITNESSES = [f"{SIGNER.verifier} {one.url}"]
        yield one


def state() -> WitnessPush:
    return WitnessPush.objects.get()


def grow(count: int) -> int:
    """The size signed: with the entry that states the map."""
    append(count)
    return sign_checkpoint(NOW).size


def test_each_new_head_is_cosigned_and_served(outside: Outside) -> None:
    for count, size in ((3, 4), (300, 305), (1, 307)):
        assert grow(count) == size
        assert push_due(NOW) == 1
    assert outside.witness.seen[LOG.name] == (307, tip().root)
    assert [body.split(b"\n")[0] for body in outside.asked] == [b"old 0", b"old 4", b"old 305"]
    assert [(row.size, row.error, row.failures) for row in WitnessPush.objects.all()] == [
        (307, "", 0)
    ]
    opened = open_note(cosigned_note(sign_checkpoint(NOW)), [LOG.verifier, SIGNER.verifier])
    assert [one.at for one in opened.verified] == [None, int(NOW.timestamp())]
    assert Witness.objects.get().keeper is None
    assert [(head.size, head.keepers, head.outside) for head in heads_seen()] == [
        (307, 0, 1), (305, 0, 1), (4, 0, 1),
    ]  # fmt: skip


def test_nothing_new_is_not_sent(outside: Outside) -> None:
    assert push_due(NOW) == 0  # nothing was ever signed
    grow(2)
    assert (push_due(NOW), push_due(NOW + timedelta(days=1)), len(outside.asked)) == (1, 0, 1)


def test_a_witness_that_knows_more_of_us_is_asked_once_more_from_there(outside: Outside) -> None:
    """As when its answer was lost, or the note of it here."""
    known = grow(4)
    push_due(NOW)
    WitnessPush.objects.all().delete()
    size = grow(5)
    push_due(NOW)
    asked = [body.split(b"\n")[0].decode() for body in outside.asked]
    assert asked == ["old 0", "old 0", f"old {known}"]
    assert (state().size, state().error) == (size, "")


def test_a_lost_answer_for_the_same_head_costs_nothing(outside: Outside) -> None:
    size = grow(4)
    push_due(NOW)
    WitnessPush.objects.all().delete()
    push_due(NOW)
    assert (state().size, state().error, Cosignature.objects.count()) == (size, "", 1)


def test_a_witness_that_forgot_us_begins_again(outside: Outside) -> None:
    grow(4)
    push_due(NOW)
    outside.witness.seen.clear()
    size = grow(1)
    push_due(NOW)
    assert outside.witness.seen[LOG.name] == (size, tip().root)


def test_a_witness_that_saw_a_larger_log_is_a_warning(outside: Outside) -> None:
    """As after a restored backup: what it saw is not in this log."""
    grow(4)
    outside.witness.seen[LOG.name] = (9, bytes(32))
    push_due(NOW)
    assert len(outside.asked) == 1
    assert "9 entries, more than this log has" in state().error
    assert not Cosignature.objects.exists()


def test_two_conflicts_end_the_try(outside: Outside) -> None:
    grow(4)
    outside.answers = [Answer(409, "2\n"), Answer(409, "3\n")]
    push_due(NOW)
    assert (len(outside.asked), state().status, state().failures) == (2, 409, 1)


REFUSALS = [(400, "invalid input"), (403, "invalid signature"), (404, "unknown log"),
            (422, "consistency proof"), (409, "no size"), (429, "later"), (500, "oops"),
            (302, "elsewhere")]  # fmt: skip


@pytest.mark.parametrize(("status", "body"), REFUSALS)
def test_a_refusal_is_kept_and_shown_and_waits(outside: Outside, status: int, body: str) -> None:
    size = grow(1)
    outside.answers = [Answer(status, body)]
    push_due(NOW)
    assert (state().status, state().error, state().failures) == (status, f"{status}: {body}", 1)
    assert push_due(NOW + timedelta(seconds=29)) == 0
    text = metrics()
    assert f'scalewitness_witness_status{{name="{SIGNER.name}"}} {status}.0\n' in text
    assert f'scalewitness_witness_failures{{name="{SIGNER.name}"}} 1.0\n' in text
    assert push_due(NOW + timedelta(seconds=31)) == 1
    assert (state().status, state().error, state().failures) == (200, "", 0)
    assert f'scalewitness_witness_size{{name="{SIGNER.name}"}} {size}.0\n' in metrics()


def metrics() -> str:
    return str(operator.metrics().content.decode())


def test_no_storm_of_tries(outside: Outside) -> None:
    grow(1)
    outside.answers = [Answer(403, "invalid signature")] * 1000
    for tick in range(0, 3 * 3600, 120):
        push_due(NOW + timedelta(seconds=tick))
    assert len(outside.asked) == 9  # at 0, 2, 4, 6, 10, 18, 34, 66 and 126 minutes
    assert state().next_try_at - state().tried_at == LONGEST_WAIT


def _other_key(text: str) -> str:
    return str(signature_line(text, Signer(SIGNER.name, KeyType.COSIGNATURE, bytes(32)), 1))


def _other_text(text: str) -> str:
    return str(signature_line(text + "x\n", SIGNER, int(NOW.timestamp())))


def _ahead(text: str) -> str:
    return str(signature_line(text, SIGNER, int(NOW.timestamp()) + 301))


def _nothing(text: str) -> str:
    return ""


def _a_page(text: str) -> str:
    return "<html>\n"


@pytest.mark.parametrize("line", [_other_key, _other_text, _ahead, _nothing, _a_page])
def test_what_is_no_cosignature_of_the_witness_is_not_kept(
    outside: Outside, line: Callable[[str], str]
) -> None:
    append(1)
    text = sign_checkpoint(NOW).note.partition("\n\n")[0] + "\n"
    outside.answers = [Answer(200, line(text))]
    push_due(NOW)
    assert "cosignature" in state().error
    assert (state().size, state().failures) == (0, 1)
    assert not Cosignature.objects.exists()


def test_lines_of_other_keys_beside_its_own_do_no_harm(outside: Outside) -> None:
    append(1)
    text = sign_checkpoint(NOW).note.partition("\n\n")[0] + "\n"
    own = str(signature_line(text, SIGNER, int(NOW.timestamp())))
    outside.answers = [Answer(200, _other_key(text) + own)]
    push_due(NOW)
    assert (state().error, Cosignature.objects.get().line + "\n") == ("", own)


def test_no_answer_is_kept_too(settings: LazySettings) -> None:
    with socket() as closed:
        closed.bind(("127.0.0.1", 0))
        settings.LOG_WITNESSES = [f"{SIGNER.verifier} http://127.0.0.1:{closed.getsockname()[1]}"]
        grow(1)
        push_due(NOW)
    assert (state().status, state().failures) == (None, 1)
    assert state().error.startswith("No answer: ConnectError")


def test_one_that_is_down_holds_up_no_other(outside: Outside, settings: LazySettings) -> None:
    other = Signer("down.example", KeyType.COSIGNATURE, bytes(32)).verifier
    settings.LOG_WITNESSES = [f"{other} http://127.0.0.1:1", *settings.LOG_WITNESSES]
    size = grow(1)
    assert push_due(NOW) == 2
    assert outside.witness.seen[LOG.name][0] == size


def test_a_long_answer_is_cut_off(outside: Outside) -> None:
    outside.answers = [Answer(200, "x" * 100_000)]
    assert post(f"{outside.url}/add-checkpoint", b"").status is None


def test_a_worker_at_it_keeps_others_away(outside: Outside) -> None:
    grow(1)
    inside: list[int] = []

    def send(url: str, body: bytes) -> Any:
        inside.append(push_due(NOW, lambda url, body: pytest.fail("twice at once")))
        return post(url, body)

    assert (push_due(NOW, send), inside) == (1, [0])


def test_beat_sends_and_the_task_has_that_name() -> None:
    name = configured.CELERY_BEAT_SCHEDULE["send the log's head to witnesses"]["task"]
    app.loader.import_default_modules()
    assert name in app.tasks


@pytest.mark.parametrize(
    "text",
    ["", f"{SIGNER.verifier}", f"{SIGNER.verifier} ftp://a.example", f"{SIGNER.verifier} https://",
     f"{SIGNER.verifier} https://user@a.example", f"{SIGNER.verifier} https://a.example/?q",
     f"{LOG.verifier} https://a.example"],
)  # fmt: skip
def test_what_names_no_witness(text: str) -> None:
    with pytest.raises(BadKey):
        read_target(text)
