"""What is wrong with the log itself, on Today: for a keeper and for the operator."""

from datetime import timedelta

import pytest
from django.conf import LazySettings
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.witnessing import keepers_witness

from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_note, signature_line
from scalewitness.ledger.models import Checkpoint, WitnessPush
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.cosigning import take_from_keeper
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.mail.models import Letter
from scalewitness.pages.home.pending import Pending
from scalewitness.pages.home.today import pending
from scalewitness.people.models import Keeper

pytestmark = pytest.mark.one_in(6)

WITNESS = Signer("watch.example/quiet", KeyType.COSIGNATURE, bytes(range(32)))


@pytest.fixture
def operator(here: Here, settings: LazySettings) -> Keeper:
    here.animal("W-1")
    here.now_is_now()
    settings.OPERATORS = [here.pim.email.upper()]
    return here.pim


def today(here: Here, keeper: Keeper) -> dict[str, Pending]:
    return {one.what: one for found in pending(keeper, here.now).values() for one in found}


def test_a_fence_waits_for_its_operator_and_a_keeper_reads_that_it_does(
    here: Here, operator: Keeper
) -> None:
    raise_fence("The outside checkpoint has 9 entries, this copy 7.", here.now)
    theirs, keepers = today(here, operator), today(here, here.odile)
    opened, closed = theirs["Open the log again"], keepers["The log is closed to everything new"]
    assert ("this copy 7" in opened.about, "this copy 7" in closed.about) == (True, False)
    assert (opened.group, closed.group) == ("needs", "waits")
    page = Browser(here.odile).open("/")
    assert "its operator is checking that it is complete" in page.text
    assert page.status == 200


def test_an_address_that_nobody_proved_makes_no_operator(
    here: Here, operator: Keeper, settings: LazySettings
) -> None:
    operator.emailaddress_set.update(verified=False)
    raise_fence("restored", here.now)
    assert "Open the log again" not in today(here, operator)
    settings.OPERATORS = []
    assert "Open the log again" not in today(here, here.odile)


@pytest.mark.parametrize(
    ("answer", "more", "what"),
    [
        (409, 5, "contradicts this log"),
        (422, 0, "contradicts this log"),
        (None, 0, "does not sign"),
    ],
)
def test_what_an_outside_witness_answered_is_the_operators(
    here: Here, operator: Keeper, settings: LazySettings, answer: int | None, more: int, what: str
) -> None:
    settings.LOG_WITNESSES = [f"{WITNESS.verifier} https://watch.example"]
    state = WitnessPush.objects.create(
        key=str(WITNESS.verifier), url="https://watch.example", next_try_at=here.now
    )
    assert today(here, operator) == {}
    WitnessPush.objects.update(
        failures=2, status=answer, size=tip().size + more if more else 0, error="<b>no</b>"
    )
    found = today(here, operator)[f"The outside witness {WITNESS.name} {what}"]
    assert found.urgent is (what == "contradicts this log")
    assert today(here, here.odile) == {}
    assert "<b>" not in Browser(operator).open("/").html
    assert state.pk


def test_letters_that_do_not_leave_are_the_operators(here: Here, operator: Keeper) -> None:
    here.offer(here.draft(here.verified("W-2")))
    Letter.objects.update(created_at=here.now - timedelta(minutes=50))
    assert "Letters do not leave" not in today(here, operator)
    Letter.objects.update(created_at=here.now - timedelta(days=9))
    found = today(here, operator)["Letters do not leave"]
    assert "wait for over an hour" in found.about
    assert "Letters do not leave" not in today(here, here.odile)
    page = Browser(operator).open("/")
    assert "Letters do not leave" in page.text
    Letter.objects.update(state=Letter.State.SENT)
    assert "Letters do not leave" not in today(here, operator)


def test_a_keeper_learns_that_their_own_witness_fell_silent(here: Here) -> None:
    """Not that it raised an alarm: the server is never told that."""
    here.animal("W-1")
    here.now_is_now()
    head, signer = sign_checkpoint(here.now), keepers_witness(1)
    line = signature_line(read_note(head.note).text, signer, int(here.now.timestamp()))
    root = bytes(head.root)
    take_from_keeper(here.odile.pk, signer.verifier, line, head.size, root, here.now)
    silent = "Your own witness signs no more"
    here.pass_time(days=9)
    assert silent not in today(here, here.odile), "the log has not grown"
    here.animal("W-3")
    sign_checkpoint(here.now)
    assert silent not in today(here, here.odile), "it only just grew"
    here.pass_time(days=8)
    assert silent in today(here, here.odile)
    assert silent not in today(here, here.pim)
    here.pass_time(days=90)
    assert silent not in today(here, here.odile), "they stopped it on purpose"
    assert Checkpoint.objects.count() == 2
