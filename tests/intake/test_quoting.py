"""Another log's record of an animal: quoted beside it, marked as theirs, and counted nowhere."""

from typing import Any
from uuid import UUID

import msgspec
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from tests.bundles import ELSEWHERE, STRANGE, altered, body_for, carried, quote
from tests.pages.test_papers import text_of
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import NotFound, NotTheFile, Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.bundle import MOST_BYTES, read_bundle
from scalewitness.fsck.rows import check_quoted
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.quoting import MOST, take_quoted_file
from scalewitness.ledger.models import Entry, Text
from scalewitness.ledger.services.memory import present_origin
from scalewitness.pages.papers.record import record_for_keepers
from scalewitness.people.models import Keeper
from scalewitness.quoted.models import Quote, QuotedFile
from scalewitness.quoted.queries import quotes_shown
from scalewitness.receipts.bundles import bundled
from scalewitness.standings.models import Standing

pytestmark = pytest.mark.one_in(4)


@pytest.fixture
def animal(world: World) -> Animal:
    return world.verified("V-1", "female")


def from_there(world: World, animal: Animal) -> bytes:
    return carried(bundled(world.odile.pk, animal.pk, world.now))


def sent(world: World, animal: Animal, data: bytes, **more: Any) -> UUID:
    """The fact alone; ``more``: of its body, false."""
    body = body_for(data, animal) | more
    return UUID(world.say(world.odile, "record_quoted", animal.pk, body).id or "")


def refused(who: Keeper, world: World, animal: Animal, body: dict[str, Any]) -> dict[str, Any]:
    with pytest.raises(Refused) as caught:
        world.say(who, "record_quoted", animal.pk, body)
    return caught.value.as_problem()


def test_it_is_shown_as_theirs_and_moves_no_standing(world: World, animal: Animal) -> None:
    before = list(Standing.objects.filter(animal=animal))
    quote(world, world.odile, animal)
    (shown,) = quotes_shown(animal.pk)
    assert (shown.origin, shown.label, shown.known) == (ELSEWHERE.name, "verified female", False)
    assert shown.calls == 3
    assert list(Standing.objects.filter(animal=animal)) == before


def test_a_log_that_the_operator_knows_is_held_to_the_keys_that_are_known(
    world: World, animal: Animal, settings: Any
) -> None:
    data = from_there(world, animal)
    settings.LOG_KNOWN_ORIGINS = [str(STRANGE.verifier)]
    id = sent(world, animal, carried(data, STRANGE))
    with pytest.raises(NotTheFile, match="cannot be relied on"):
        take_quoted_file(id, data, Actor(keeper=world.odile.pk), world.now)
    settings.LOG_KNOWN_ORIGINS = [str(STRANGE.verifier), str(ELSEWHERE.verifier)]
    quote(world, world.odile, animal)
    assert [one.known for one in quotes_shown(animal.pk)] == [True]
    settings.LOG_KNOWN_ORIGINS = []
    assert [one.known for one in quotes_shown(animal.pk)] == [False], "trust was taken back"


def test_another_snakes_record_is_refused(world: World, animal: Animal) -> None:
    other = world.animal("X-9")
    data = from_there(world, other)
    body = body_for(from_there(world, animal), animal) | {"bundle": body_for(data, other)["bundle"]}
    id = UUID(world.say(world.odile, "record_quoted", animal.pk, body).id or "")
    with pytest.raises(NotTheFile):
        take_quoted_file(id, data, Actor(keeper=world.odile.pk), world.now)
    theirs = body_for(data, other)
    named = {**theirs, "code": "V-1"}
    id = UUID(world.say(world.odile, "record_quoted", animal.pk, named).id or "")
    with pytest.raises(NotTheFile, match="not shown to be of the same animal"):
        take_quoted_file(id, data, Actor(keeper=world.odile.pk), world.now)
    assert quotes_shown(animal.pk) == []


def test_a_code_that_the_animal_has_not_here_is_refused(world: World, animal: Animal) -> None:
    body = body_for(from_there(world, animal), animal) | {"code": "Z-1"}
    problem = refused(world.odile, world, animal, body)
    assert (problem["code"], problem["errors"][0]["pointer"]) == ("out_of_range", "/body/code")


def test_this_very_log_is_not_quoted_on_itself(world: World, animal: Animal) -> None:
    body = body_for(from_there(world, animal), animal) | {"origin": present_origin()}
    assert refused(world.odile, world, animal, body)["code"] == "out_of_range"


@pytest.mark.parametrize("origin", ["", "a b", "línea.example", "x" * 201, "<b>\n</b>", "a+b"])
def test_what_no_log_is_called_is_refused(world: World, animal: Animal, origin: str) -> None:
    body = body_for(from_there(world, animal), animal) | {"origin": origin}
    assert refused(world.odile, world, animal, body)["status"] == 422


def test_only_whoever_keeps_it_quotes(world: World, animal: Animal) -> None:
    body = body_for(from_there(world, animal), animal)
    assert refused(world.stan, world, animal, body)["code"] == "not_found"
    id = sent(world, animal, from_there(world, animal))
    with pytest.raises(NotFound):
        take_quoted_file(id, from_there(world, animal), Actor(keeper=world.stan.pk), world.now)


def test_the_same_is_quoted_once_and_not_without_end(world: World, animal: Animal) -> None:
    data = from_there(world, animal)
    id = sent(world, animal, data)
    take_quoted_file(id, data, Actor(keeper=world.odile.pk), world.now)
    body = body_for(data, animal)
    assert refused(world.odile, world, animal, body)["code"] == "not_now"
    for number in range(1, MOST):
        sent(world, animal, data, bundle=f"{number:064x}")
    more = body | {"bundle": "f" * 64}
    assert refused(world.odile, world, animal, more)["code"] == "not_now"


def test_until_the_file_is_here_nothing_of_it_is_shown(world: World, animal: Animal) -> None:
    sent(world, animal, from_there(world, animal))
    assert quotes_shown(animal.pk) == []


def test_words_of_people_of_that_server_are_not_kept(world: World, animal: Animal) -> None:
    world.call(world.odile, animal, "female", texts={"note": "Bought at the old mill."})
    data = from_there(world, animal)
    assert b"old mill" in data
    id = sent(world, animal, data)
    take_quoted_file(id, data, Actor(keeper=world.odile.pk), world.now)
    assert b"old mill" not in bytes(QuotedFile.objects.get(pk=id).data)
    assert not Text.objects.filter(fact=id).exists()


def test_an_older_state_says_so_beside_a_newer(world: World, animal: Animal) -> None:
    old = from_there(world, animal)
    world.call(world.odile, animal, "female")
    quote(world, world.odile, animal)
    id = sent(world, animal, old)
    take_quoted_file(id, old, Actor(keeper=world.odile.pk), world.now)
    newest, older = quotes_shown(animal.pk)
    assert (newest.newer, older.newer) == (False, True)
    assert newest.size > older.size


def test_a_log_that_signed_two_trees_of_one_size_is_named(world: World, animal: Animal) -> None:
    """Each on another snake's record, as two keepers were shown them."""
    other = world.animal("X-9")
    files = {one: from_there(world, one) for one in (animal, other)}
    for one, data in files.items():
        id = sent(world, one, data)
        take_quoted_file(id, data, Actor(keeper=world.odile.pk), world.now)
    assert not quotes_shown(animal.pk)[0].forked
    QuotedFile.objects.filter(quote__animal=other).update(root="0" * 64)
    assert quotes_shown(animal.pk)[0].forked


def test_fsck_holds_the_file_to_the_entry_and_what_stands_beside_to_the_file(
    world: World, animal: Animal
) -> None:
    id = UUID(quote(world, world.odile, animal))
    assert list(told_by(id)) == []
    QuotedFile.objects.filter(pk=id).update(label="verified male")
    assert told_by(id) == ["label is not what the file says"]
    QuotedFile.objects.filter(pk=id).update(data=b"{}")
    assert told_by(id) == ["the file is not the one that the entry names"]


def told_by(id: UUID) -> list[str]:
    entry = Entry.objects.get(fact=id)
    raw = msgspec.json.decode(bytes(entry.leaf))["body"]

    class Stated:
        kind, position = "record_quoted", entry.position

    stated = Stated()
    stated.id, stated.raw = id, raw  # type: ignore[attr-defined]
    return [one.what for one in check_quoted([stated])]  # type: ignore[list-item]


def test_a_hostile_log_says_nothing_that_is_not_of_known_form(world: World, animal: Animal) -> None:
    data = from_there(world, animal)
    id = sent(world, animal, data)
    for one in (b"", b"{}", b" " * (MOST_BYTES + 1), altered(data, key="<script>"), data[:-9]):
        with pytest.raises(NotTheFile):
            take_quoted_file(id, one, Actor(keeper=world.odile.pk), world.now)
    assert read_bundle(data)


def test_the_page_marks_it_as_another_logs(world: World, animal: Animal) -> None:
    quote(world, world.odile, animal)
    client = Client()
    client.force_login(world.odile)
    page = " ".join(client.get(f"/animals/{animal.pk}").content.decode().split())
    assert "<strong>Unknown log</strong>" in page
    assert ELSEWHERE.name in page
    assert "Nothing of it counts in the standing here." in page


def test_on_a_page_the_file_is_checked_before_anything_is_recorded(
    world: World, animal: Animal
) -> None:
    client = Client()
    client.force_login(world.odile)
    address = f"/animals/{animal.pk}/quoted/new"

    def answered(data: bytes) -> str:
        form = {"id": str(new_id(world.now)), "at": rfc3339(world.now)}
        file = SimpleUploadedFile("v.bundle", data)
        answer = client.post(address, {**form, "file": file}, follow=True)
        return " ".join(answer.content.decode().split())

    assert "The file is no bundle" in answered(b"{}")
    other = world.animal("X-9")
    assert "not shown to be of the same animal" in answered(from_there(world, other))
    assert not Quote.objects.exists()
    assert "What other logs say of it" in answered(from_there(world, animal))
    assert Quote.objects.get().file.calls == 3


def test_the_paper_marks_it_as_another_logs(world: World, animal: Animal) -> None:
    quote(world, world.odile, animal)
    text = text_of(record_for_keepers(animal, world.now))
    assert "What other logs say of it" in text
    assert f"an unknown log, “{ELSEWHERE.name}”" in text
    assert "not counted here" in text
