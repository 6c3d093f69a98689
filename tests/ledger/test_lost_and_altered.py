"""What becomes of a promise when the store it leaned on is lost or altered: the table in
`server/LOG.md` of what each store is trusted with, as far as no other test shows it."""

from contextlib import suppress
from io import StringIO
from pathlib import Path
from uuid import UUID

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command
from tests.ledger.test_tree import NOW, append
from tests.pages.browser import Browser
from tests.plugins.told import Told, a_month_ago
from tests.world import World

from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.receipts import prove, read_receipt
from scalewitness.ledger.models import Text
from scalewitness.ledger.queries.entries import entry_of
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.services.fencing import look_at_start
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.rate_limit import attempts, forget
from scalewitness.sales.models import Buyer, OfferLink

pytestmark = pytest.mark.django_db


@pytest.fixture
def memory(tmp_path: Path, settings: LazySettings) -> Path:
    settings.LOG_MEMORY = str(tmp_path / "log_memory")
    return tmp_path / "log_memory"


@pytest.fixture
def world(db: None, told_a_month_ago: Told) -> World:
    return told_a_month_ago.again(World, a_month_ago())


@pytest.fixture
def owed(world: World) -> Disclosure:
    """Stan bought a verified male; a blind guest then found a female."""
    animal = world.verified("V-1")
    world.sold(animal, email=world.stan.email)
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    return Disclosure.objects.get()


def fsck() -> str:
    told = StringIO()
    with suppress(CommandError):
        call_command("fsck", stdout=told, stderr=told)
    return told.getvalue()


# --- people -----------------------------------------------------------------------------


def test_another_name_that_no_book_holds_is_not_found_and_another_text_is(world: World) -> None:
    made = world.call(world.odile, world.animal("A-1"), "male", texts={"note": "She held still."})
    Keeper.objects.filter(pk=world.odile.pk).update(name="Somebody Else", email="else@x.example")
    Buyer.objects.update(name="Nobody")
    assert "no difference" in fsck()
    Text.objects.filter(fact=UUID(made.id)).update(text="She bit me.")
    assert "the note is not what the entry states" in fsck()


# --- letters ----------------------------------------------------------------------------


def test_a_disclosure_whose_letter_is_lost_stays_open_and_is_read_by_the_buyer(
    world: World, owed: Disclosure
) -> None:
    Letter.objects.all().delete()
    assert "no difference" in fsck()
    assert "not yet acknowledged" in Browser(world.odile).open("/disclosures").text
    assert "Not yet acknowledged by" in Browser(world.odile).open("/").text
    assert "What you were told has changed" in Browser(world.stan).open("/").text
    assert "contested" in Browser(world.stan).open(f"/disclosures/{owed.pk}").text
    assert OfferLink.objects.filter(sale=owed.sale, purpose="disclosure").exists()


def test_a_letter_that_is_said_to_be_sent_closes_no_disclosure(
    world: World, owed: Disclosure
) -> None:
    """The lie is shown as it stands; that nobody acknowledged is what counts."""
    Letter.objects.update(state=Letter.State.SENT, sent_at=world.now)
    assert "sent, and never tried" in fsck()
    Letter.objects.update(attempts=1)
    assert "no difference" in fsck()
    listed = Browser(world.odile).open("/disclosures").text
    assert "letter sent" in listed
    assert "not yet acknowledged" in listed
    assert "to be acknowledged" in Browser(world.stan).open("/disclosures").text


# --- LOG_MEMORY -------------------------------------------------------------------------


def test_a_memory_that_is_lost_is_made_anew(memory: Path) -> None:
    append(3)
    sign_checkpoint(NOW)
    memory.unlink()
    look_at_start(NOW)
    assert standing_fence() is None
    append(2)
    newest = sign_checkpoint(NOW).note
    assert memory.read_text() == newest


def test_an_older_memory_is_as_good_as_none(memory: Path) -> None:
    append(3)
    older = sign_checkpoint(NOW).note
    append(2)
    sign_checkpoint(NOW)
    memory.write_text(older)
    look_at_start(NOW)
    assert standing_fence() is None
    append(1)
    newest = sign_checkpoint(NOW).note
    assert memory.read_text() == newest


# --- LOG_SIGNING_KEY --------------------------------------------------------------------


def receipt(fact: str | None, world: World) -> bytes:
    entry = entry_of(UUID(fact))
    assert entry is not None
    return str(receipt_of(entry, world.now)).encode()


def test_under_another_key_the_log_is_signed_anew_and_what_was_signed_holds(
    world: World, settings: LazySettings
) -> None:
    made = world.call(world.odile, world.animal("A-1"), "male")
    before, old = receipt(made.id, world), log_signer().verifier
    settings.LOG_SIGNING_KEY = Signer(old.name, KeyType.ED25519, bytes(32)).secret()
    settings.LOG_RETIRED_KEYS = [str(old)]
    after = receipt(made.id, world)
    assert prove(read_receipt(before), old).entry.kind == "call_made"
    assert prove(read_receipt(after), log_signer().verifier).entry.kind == "call_made"
    assert "no difference" in fsck()


# --- the queue server -------------------------------------------------------------------


def test_an_emptied_queue_server_costs_a_count_of_tries(world: World) -> None:
    assert [attempts("lost", 60) for _ in range(2)] == [1, 2]
    forget("lost")
    assert attempts("lost", 60) == 1
