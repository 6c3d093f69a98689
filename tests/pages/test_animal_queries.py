"""How often an animal's page asks the database: at most 25 times, whoever reads it and however much
is on record of the animal; and no more often for more of it."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once
from tests.world import new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.people.services import name_practitioner

pytestmark = pytest.mark.one_in(6)

MOST = 31
"""Queries: 25 (wanted of every main page), and for the browser's proof where the log ends, which
keys it was signed under, and what came late; and what was stated of its traits, and by whom. On a
record that has something of everything; an ordinary one asks for sixteen."""
NOTED = (
    {"type": "weight", "grams": "640"},
    {"type": "meal", "taken": True, "grams": "30"},
    {"type": "shed", "stage": "opaque"},
    {"type": "health", "sign": "well"},
)
READERS = ("odile", "pim", "stan", "fenna", "greta")
"""Keeper, partner, viewer, a guest who made their check, and one who is still to."""


@told_once
def bred(here: Here) -> Animal:
    """Of known parents, in a clutch, planned for a pairing, with young of its own; and its linkage
    stated."""
    sire, dam = here.animal("S-1"), here.animal("D-1")
    parents = {"sire": str(sire.pk), "dam": str(dam.pk)}
    animal, _ = (here.animal(f"R-{n}", hatched="2024-06-01", **parents) for n in (17, 18))
    here.animal("Y-1", hatched="2026-08-01", sire=str(animal.pk), dam=str(dam.pk))
    stated = {
        "trait": "coral_glow",
        "shows": "one_copy",
        "sire_copies": 1,
        "dam_copies": 0,
        "beside": "Y",
        "recombination": "0.050000",
        "provenance": "keepers_speak_of",
    }
    here.say(here.odile, "linkage_stated", animal.pk, stated | parents)
    here.say(here.odile, "pairing_planned", new_id(here.now), paired(animal, dam))
    _traits(here, animal, "in its own way")
    here.make_partner(here.pim)
    here.view(here.stan, animal)
    return animal


@told_once
def rich(here: Here, bred: Animal) -> Animal:
    """Of everything there is something: checks of all sorts, what others said of them, care,
    photos, moves, a sale and a return, a dispute, and other records of its number."""
    _cared_for(here, bred)
    _checked(here, bred)
    _one_snake(here, bred)
    _sold(here, bred)
    _awaited(here)
    here.now_is_now()
    return bred


def _traits(here: Here, animal: Animal, words: str) -> None:
    shown = {"says": "shows", "basis": "seen"}
    here.say(here.odile, "trait_stated", animal.pk, shown, texts={"words": words})


def paired(sire: Animal, dam: Animal) -> dict[str, Any]:
    return {"sire": str(sire.pk), "dam": str(dam.pk), "season": 2027}


def _cared_for(here: Here, animal: Animal) -> None:
    for noted in NOTED:
        here.say(here.odile, "husbandry_noted", animal.pk, {"noted": noted})
    loft = create_collection(here.odile, new_id(here.now), "The loft", here.now)
    for room in (loft, here.collection):
        here.say(here.odile, "custody_changed", animal.pk, {"to": str(room.pk), "why": "moved"})


def _checked(here: Here, animal: Animal) -> None:
    here.view(here.stan, animal)
    earlier = _photo(here, animal, 40)
    first = here.call(here.odile, animal, "male", texts={"note": "Calm."})
    later = _photo(here, animal, 50, of=first.id)
    compared = {"call": first.id, "photo": later, "earlier": earlier, "answer": "same"}
    here.say(here.stan, "photos_compared", animal.pk, compared)
    objected = {"call": first.id, "ground": "wrong_reading"}
    here.say(here.pim, "call_objected", animal.pk, objected, texts={"note": "I saw six."})
    for guest in (here.fenna, here.greta):
        here.pass_time(days=1)
        here.call(guest, animal, "male", visit=here.visit(guest, animal, days=60))
    withdrawn = here.call(here.odile, animal, "female")
    here.say(here.odile, "call_withdrawn", animal.pk, {"call": withdrawn.id}, texts={"note": "No."})
    vet = name_practitioner(here.odile, new_id(here.now), "Dr Ilse Brandt")
    seen = {"observed": {"method": "endoscopy", "seen": "testes"}, "document": "cd" * 32}
    seen |= {"reported": {"role": "veterinarian", "who": str(vet.pk)}}
    reported = here.say(here.odile, "call_made", animal.pk, probing("male", tag_of(animal)) | seen)
    read = {"call": reported.id, "document": "cd" * 32}
    here.say(here.stan, "document_read", animal.pk, read)


def _photo(here: Here, animal: Animal, width: int, of: str | None = None) -> str:
    made = here.say(here.odile, "photo_attached", animal.pk, body_of(plain_file(width), of))
    take_photo_file(UUID(made.id), plain_file(width), Actor(keeper=here.odile.pk), here.now)
    return str(made.id)


def _one_snake(here: Here, animal: Animal) -> None:
    """Joined with one record; another's keeper asks for the same."""
    number, records = here.chip(animal), [here.animal("T-1"), here.animal("T-2")]
    for one in records:
        given = {"scheme": "transponder", "code": number}
        here.say(here.odile, "identifier_assigned", one.pk, given)
        here.call(here.odile, one, "male")
        asked = here.say(here.odile, "joining_proposed", one.pk, {"code": number})
        if one is records[0]:
            agreed = {"proposal": asked.id, "agrees": True}
            here.say(here.odile, "joining_answered", animal.pk, agreed)


def _sold(here: Here, animal: Animal) -> None:
    """It came back, a dispute is open on it, and another sale is drafted."""
    sale = here.sold(animal)
    here.say(here.odile, "handed_over", sale.pk)
    here.back(sale, animal)
    disputed = {"animal": str(animal.pk), "ground": "party_objects"}
    here.say(here.odile, "dispute_opened", new_id(here.now), disputed)
    here.draft(animal)


def _awaited(here: Here) -> None:
    """Greta, who checked it, is to check another animal blind."""
    here.visit(here.greta, here.animal("Z-1"), days=60)


def asked(reader: Browser, path: str) -> int:
    """Queries of a process that has answered before."""
    assert reader.open(path).status == 200
    cache.clear()
    connection.queries_log.clear()
    with CaptureQueriesContext(connection) as found:
        reader.open(path)
        return len(found)


@pytest.mark.parametrize("who", READERS)
@pytest.mark.some(2)
def test_at_most_so_many_however_much_is_on_record(here: Here, rich: Animal, who: str) -> None:
    assert asked(Browser(getattr(here, who)), f"/animals/{rich.pk}") <= MOST


@pytest.mark.parametrize("who", READERS)
@pytest.mark.some(2)
def test_more_of_the_same_asks_nothing_more(here: Here, rich: Animal, who: str) -> None:
    reader, path = Browser(getattr(here, who)), f"/animals/{rich.pk}"
    few = asked(reader, path)
    _more(here, rich)
    assert asked(reader, path) == few


def _more(here: Here, animal: Animal) -> None:
    here.now -= timedelta(hours=1)
    _cared_for(here, animal)
    dam = here.animal("D-2")
    here.say(here.odile, "pairing_planned", new_id(here.now), paired(animal, dam))
    for words in ("darker", "lighter", "with a line"):
        _traits(here, animal, words)
    for sex in ("male", "female", "male"):
        made = here.call(here.odile, animal, sex, texts={"note": "Again."})
        objected = {"call": made.id, "ground": "wrong_reading"}
        here.say(here.pim, "call_objected", animal.pk, objected)
        _photo(here, animal, 70, of=made.id)
    here.draft(animal)


def test_one_that_is_checked_blind_asks_few(here: Here, rich: Animal) -> None:
    other = Animal.objects.get(identifiers__code="Z-1")
    reader, path = Browser(here.greta), f"/animals/{other.pk}"
    assert "blind" in reader.open(path).text
    assert asked(reader, path) <= MOST


def test_its_buyer_asks_few_and_no_more_for_more_calls(
    here: Here, bred: Animal, anyone: Browser
) -> None:
    """By their link, where everything is shown that they may read of it."""
    _cared_for(here, bred)
    _checked(here, bred)
    here.now_is_now()
    sale = here.draft(bred)
    here.offer(sale)
    few = asked(anyone, f"/offers/{here.token(sale)}")
    for _ in range(3):
        made = here.call(here.odile, bred, "male", texts={"note": "Again."})
        _photo(here, bred, 70, of=made.id)
    here.offer(sale)
    assert asked(anyone, f"/offers/{here.token(sale)}") == few <= MOST
