# ruff: noqa: S608  SQL made of values the tests themselves hold
"""What lies outside the log is closed into its books: whatever is altered or taken away there
afterwards is named."""

from contextlib import suppress
from datetime import timedelta
from io import StringIO
from uuid import UUID

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from tests.fsck.tampering import as_superuser
from tests.world import World, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import edit
from scalewitness.books.models import BookClosing, BookLine, BookSalt
from scalewitness.books.queries import BOOKS
from scalewitness.books.services import write_lines
from scalewitness.fsck.tables import APART, TABLES
from scalewitness.intake.batch import Actor
from scalewitness.intake.closing import close_books
from scalewitness.intake.erasure import erase_own_texts, erase_practitioner, erase_texts_by
from scalewitness.ledger.models import Cosignature, Entry, Text, Witness
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import name_practitioner, rename
from scalewitness.seasons.models import Season


def fsck(*parts: str) -> tuple[str, set[str]]:
    """What is said of the books, or of these parts, and all stores named."""
    lines = []
    for part in parts or ("books",):
        err = StringIO()
        with suppress(CommandError):
            call_command("fsck", "--only", part, stdout=StringIO(), stderr=err)
        lines += err.getvalue().splitlines()[1:]
    return "\n".join(lines), {one.split(":")[0] for one in lines}


def edit_a_record(world: World) -> None:
    world.now += timedelta(hours=2)
    room = Collection.objects.get(pk=world.collection.pk)
    name = {"name": f"Room at {world.now:%H}"}
    edit(room, name, version=room.version, by=world.odile, now=world.now)


def later(world: World) -> None:
    """The books closed once more, with something new to close."""
    edit_a_record(world)
    assert close_books(world.now) is not None


# --- closing --------------------------------------------------------------------------


def test_a_closing_is_at_most_hourly_and_only_if_something_is_new(told: World) -> None:
    (closing,) = BookClosing.objects.all()
    assert close_books(closing.at + timedelta(minutes=59)) is None
    later(told)
    before = BookClosing.objects.count()
    assert close_books(told.now + timedelta(hours=2)) is None
    sign_checkpoint(told.now)  # with the map, which is no news either
    key = Witness.objects.create(key="quiet.example+1", registered_at=told.now)
    told.now += timedelta(hours=2)
    assert close_books(told.now) is not None  # of a witness
    Cosignature.objects.create(
        witness=key, size=1, root=bytes(32), line="— quiet", at=told.now, received_at=told.now
    )
    sign_checkpoint(told.now)
    assert close_books(told.now + timedelta(hours=2)) is None
    assert BookClosing.objects.count() == before + 1
    assert closing.books["edits of animals"]["lines"] > 0


def test_the_log_tells_nobody_how_much_there_is_of_what(told: World) -> None:
    entry = Entry.objects.get(kind="books_closed")
    assert entry.by is None
    assert set(leaf_of(entry).body) == {"root"}


def test_what_changed_by_itself_is_a_line_more(told: World) -> None:
    """And what a keeper was called before cannot be tried out any more."""
    rename(told.odile, name="Odile Brunn", version=told.odile.version, now=told.now)
    assert fsck() == ("", set())
    later(told)
    before, after = BookLine.objects.filter(book="names of keepers", thing=told.odile.pk)
    assert not BookSalt.objects.filter(line=before).exists()
    assert BookSalt.objects.filter(line=after).exists()
    assert fsck() == ("", set())


def test_a_closing_that_was_cut_off_is_gone_on_with(told: World) -> None:
    """Its lines were written, its fact was not."""
    edit_a_record(told)
    assert write_lines() is not None
    assert fsck() == ("", set())
    lines = BookLine.objects.count()
    assert close_books(told.now) is not None
    assert BookLine.objects.count() == lines
    assert fsck() == ("", set())
    ends = BookClosing.objects.latest("position").books.values()
    assert sum(one["lines"] for one in ends) == lines


def test_every_table_of_edits_has_a_book_of_all_its_columns() -> None:
    books = {one.model: one for one in BOOKS}
    for model in (Animal, Collection, Season):
        history = model.history.model
        names = {one.attname for one in history._meta.concrete_fields}
        assert set(books[history].columns) == names - {"history_id"}
    assert len({one.name for one in BOOKS}) == len(BOOKS)


ELSEWHERE = {
    "ledger.Head ledger.SignedHead ledger.MapHead ledger.MapNode ledger.MapSubject": (
        "worked out from the entries again"
    ),
    "ledger.WitnessPush": "how it goes with sending",
    "books.BookSalt": "what opens the lines",
    "quoted.QuotedFile": "another log's, which vouches for it itself",
    "animals.PhotoErasure": "what is still to go from the bucket; that it was erased is in the log",
    "animals.Collection seasons.Season": "as its last edit left it",
    "seasons.SeasonOutlook": "worked out from the entries again, for one reader",
    "mail.DeliveryReport": "quotes addresses, and goes with them; bears on no fact",
    "people.PractitionerAddress visits.InvitationByLetter": "addresses, which may have to go",
    "people.PractitionerLink sales.OfferLink sales.ConfirmationCode breeding.CalendarLink": (
        "ways in, which run out"
    ),
    "people.IdempotencyKey people.RecordEdit": "by what a thing sent again is known",
    "people.Device sign_in.DeviceRequest": "who may sign in; keys are facts",
    "standings.NumbersCandidate standings.NumbersReview": "until they are adopted, nothing",
    "importing.Upload": "forgotten within days",
    "account.EmailAddress account.EmailConfirmation knox.AuthToken mfa.Authenticator "
    "sessions.Session": "signing in",
    "auth.Group auth.Group_permissions auth.Permission contenttypes.ContentType": "not used",
}
"""Tables of which neither log nor books speak, and why."""


def test_every_table_is_in_the_log_or_a_book_or_named_here() -> None:
    spoken_of = {one.model for one in TABLES} | set(APART) | {one.model for one in BOOKS}
    models = apps.get_models(include_auto_created=True)
    silent = {one._meta.label for one in models if one not in spoken_of}
    assert silent == {label for labels in ELSEWHERE for label in labels.split()}


# --- tampering ------------------------------------------------------------------------


ALTERED = {
    "a history cut away": ("DELETE FROM animals_historicalanimal", "is gone"),
    "a history rewritten": (
        "UPDATE animals_historicalanimal SET name = 'Other' WHERE history_id = "
        "(SELECT min(history_id) FROM animals_historicalanimal)",
        "not what was closed",
    ),
    "a collection's history": ("DELETE FROM animals_historicalcollection", "is gone"),
    "a keeper's name": (
        "UPDATE people_keeper SET name = 'Nobody' WHERE name = 'Odile Marten'",
        "not what was closed",
    ),
    "a buyer's address": (
        "UPDATE sales_buyer SET email = 'other@buyers.example'",
        "not what was closed",
    ),
    "whether a code is asked for": (
        "UPDATE sales_sale SET by_code = NOT by_code",
        "not what was closed",
    ),
    "letters taken away": ("DELETE FROM mail_letter", "is gone"),
    "to whom a letter went": (
        "UPDATE mail_letter SET recipient = gen_random_uuid()",
        "not what was closed",
    ),
    "a letter said to be sent": (
        "UPDATE mail_letter SET state = 'sent', sent_at = now() WHERE state = 'waiting'",
        "never tried",
    ),
    "texts taken away": ("DELETE FROM ledger_text", "is gone"),
    "a photo's file taken away": ("DELETE FROM animals_photofile", "is gone"),
    "a held call taken away": ("DELETE FROM calls_heldcall", "is gone"),
    "what a held call says": (
        "UPDATE calls_heldcall SET submission = jsonb_set(submission, '{at}', '\"2026-01-01\"')",
        "not what was closed",
    ),
    "an animal's name": ("UPDATE animals_animal SET name = 'Altered'", "last edit left it"),
    "an older checkpoint": (
        "DELETE FROM ledger_checkpoint WHERE size = (SELECT min(size) FROM ledger_checkpoint)",
        "is gone",
    ),
    "who two accounts are": (
        "UPDATE people_namedasone SET first_id = second_id",
        "not what was closed",
    ),
}


@pytest.mark.usefixtures("superuser")
@pytest.mark.parametrize("what", ALTERED)
@pytest.mark.some(3)
def test_what_was_closed_and_altered_is_named(told: World, what: str) -> None:
    change, says = ALTERED[what]
    words = change.split()
    table = words[words.index("FROM") + 1] if words[0] == "DELETE" else words[1]
    later(told)
    as_superuser(change)
    said, stores = fsck()
    assert {one.replace("historical", "") for one in stores} == {table.replace("historical", "")}
    assert table in stores
    assert says in said
    later(told)  # the next closing takes none of it in
    assert table in fsck()[1]


BOOKS_ALTERED = {
    "a line": (
        "UPDATE books_bookline SET commitment = set_byte(commitment, 0, "
        "get_byte(commitment, 0) # 1) WHERE book = 'texts' AND nth = 1",
        "not those that were closed",
    ),
    "what a line is about": (
        "UPDATE books_bookline SET thing = gen_random_uuid()::text "
        "WHERE book = 'texts' AND nth = 1",
        "not those that were closed",
    ),
    "a line taken away": (
        "DELETE FROM books_bookline WHERE book = 'texts' AND nth = 1",
        "line 1 is missing",
    ),
    "the last line taken away": (
        "DELETE FROM books_bookline WHERE book = 'texts' AND nth = "
        "(SELECT max(nth) FROM books_bookline WHERE book = 'texts')",
        "is missing",
    ),
    "a closing": ("DELETE FROM books_bookclosing", "has no row"),
    "what a closing came to": (
        "UPDATE books_bookclosing SET books = jsonb_set(books, '{texts,lines}', '1')",
        "not what the entry commits to",
    ),
}


@pytest.mark.usefixtures("superuser")
@pytest.mark.parametrize("what", BOOKS_ALTERED)
def test_books_that_are_altered_are_named(told: World, what: str) -> None:
    change, says = BOOKS_ALTERED[what]
    as_superuser(change)
    said, stores = fsck()
    assert stores & {"books_bookline", "books_bookclosing"}
    assert says in said


@pytest.mark.usefixtures("superuser")
def test_witnesses_and_what_they_signed(told: World) -> None:
    key = Witness.objects.create(key="quiet.example+1", registered_at=told.now)
    Cosignature.objects.create(
        witness=key, size=1, root=bytes(32), line="— quiet", at=told.now, received_at=told.now
    )
    later(told)
    assert fsck() == ("", set())
    as_superuser("DELETE FROM ledger_cosignature", "DELETE FROM ledger_witness")
    assert fsck()[1] == {"ledger_cosignature", "ledger_witness"}


@pytest.mark.usefixtures("superuser")
def test_what_hides_a_row_goes_with_nothing_else(told: World) -> None:
    """Else a row could be altered under a line that nobody can open."""
    as_superuser(
        "DELETE FROM books_booksalt WHERE line_id IN (SELECT id FROM books_bookline "
        "WHERE book = 'sales drafted')"
    )
    said, stores = fsck()
    assert stores == {"sales_sale"}
    assert "as if it were erased, and it is not" in said


# --- erased, or suppressed ------------------------------------------------------------


def noted(world: World, who: Keeper, note: str = "By the door.") -> UUID:
    made = world.call(who, world.animal(f"E{tip().size}"), "male", texts={"note": note})
    return UUID(str(made.id))


@pytest.mark.usefixtures("superuser")
def test_a_text_that_is_gone_was_erased_or_is_missed(told: World) -> None:
    """Whether or not the books were closed over it meanwhile."""
    erased, taken, at_once = (noted(told, told.odile) for _ in range(3))
    later(told)
    assert erase_own_texts(erased, Actor(keeper=told.odile.pk), told.now) == 1
    assert erase_own_texts(at_once, Actor(keeper=told.odile.pk), told.now) == 1
    assert fsck("log", "books") == ("", set())
    as_superuser(f"DELETE FROM ledger_text WHERE fact = '{taken}'")
    position = Entry.objects.get(fact=taken).position
    said, stores = fsck("log")
    assert stores == {"ledger_text"}
    assert f"position {position}: ledger_text: the note is gone, and nobody had it erased" in said
    said, stores = fsck("books")
    assert stores == {"ledger_text"}
    assert f"row {taken}: it was closed, and is gone" in said


@pytest.mark.usefixtures("superuser")
def test_an_erasure_accounts_for_what_it_is_about_alone(told: World) -> None:
    one, other = noted(told, told.odile), noted(told, told.odile)
    later(told)
    erase_own_texts(one, Actor(keeper=told.odile.pk), told.now)
    as_superuser(f"DELETE FROM ledger_text WHERE fact = '{other}'")
    assert str(one) not in fsck("books")[0]
    assert str(other) in fsck("books")[0]


@pytest.mark.usefixtures("superuser")
def test_all_that_somebody_wrote_is_erased_with_one_fact(told: World) -> None:
    ours, theirs = noted(told, told.pim), noted(told, told.odile)
    later(told)
    assert erase_texts_by(told.pim.pk, told.now, "author") >= 1
    assert not Text.objects.filter(fact=ours).exists()
    assert fsck("log", "books") == ("", set())
    as_superuser(f"DELETE FROM ledger_text WHERE fact = '{theirs}'")
    assert fsck("books")[1] == {"ledger_text"}


@pytest.mark.usefixtures("superuser")
def test_an_erased_name_that_is_another_again_is_named(told: World) -> None:
    practice = name_practitioner(told.odile, new_id(told.now), "Dr. Almond")
    later(told)
    erase_practitioner(Practitioner.objects.get(pk=practice.pk), told.now, "author")
    as_superuser(f"UPDATE people_practitioner SET name = 'Dr. Beech' WHERE id = '{practice.pk}'")
    assert fsck("books")[1] == {"people_practitioner"}


def test_a_practice_that_is_erased_is_no_fault(told: World) -> None:
    practice = name_practitioner(told.odile, new_id(told.now), "Dr. Almond")
    later(told)
    erase_practitioner(Practitioner.objects.get(pk=practice.pk), told.now, "author")
    assert fsck() == ("", set())
    assert not BookSalt.objects.filter(line__thing=str(practice.pk)).exists()
