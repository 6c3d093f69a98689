"""A whole clutch registered at once: all of it or nothing, each once, and nothing answered for
its keeper."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.utils import timezone
from tests.pages.browser import Browser, Form, Page
from tests.pages.conftest import Here
from tests.world import new_id

from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import Pairing
from scalewitness.calls.models import Call
from scalewitness.ledger.models import Entry
from scalewitness.pages.parts.picks import SHOWN as OFFERED

pytestmark = pytest.mark.one_in(6)


def path(here: Here) -> str:
    return f"/collections/{here.collection.pk}/clutches/new"


SHARED = {"hatched": "2026-08-01", "number": "3", "pattern": "LG-26-##"}
SITTING = {"told": "no", "held_by": "examiner", "sureness": "certain"}


def grid(browser: Browser, here: Here, **typed: str) -> Page:
    """The second step, with nothing stored yet."""
    before = Entry.objects.count()
    form = browser.open(path(here)).form()
    page = press(browser, form, "next", **{**SHARED, **typed})
    assert Entry.objects.count() == before
    return page


def press(browser: Browser, form: Form, step: str, **typed: str) -> Page:
    """One of the form's buttons."""
    form.names["step"] = "button"
    return browser.send(form, **typed, step=step)


def register(browser: Browser, page: Page, **typed: str) -> Page:
    """``y_0_code``: the code in the first row."""
    rows = {name.replace("_", "-") if name.startswith("y_") else name: value
            for name, value in typed.items()}  # fmt: skip
    return press(browser, page.form(), "register", **rows)


def codes(page: Page) -> list[str]:
    found = page.form().values
    return [found[f"y-{n}-code"][0] for n in range(int(found["y-TOTAL_FORMS"][0]))]


@pytest.fixture
def pair(here: Here) -> tuple[Animal, Animal]:
    """Dam and sire, with names."""
    dam, sire = here.animal("D-1"), here.animal("S-1")
    here.name(dam, "Fern")
    here.name(sire, "Rowan")
    here.now_is_now()
    return dam, sire


@pytest.mark.one_in(1)
def test_a_clutch_is_registered_with_weights_traits_and_first_checks_once(
    here: Here, odile: Browser, pair: tuple[Animal, Animal]
) -> None:
    dam, sire = pair
    assert path(here) in odile.open(f"/collections/{here.collection.pk}").links
    page = grid(odile, here, dam=str(dam.pk), sire=str(sire.pk), shared="amel")
    assert "Ball python; dam Fern; sire Rowan" in page.text
    assert "Clean and disinfect hands" in page.text
    assert "For hatchlings, by someone who has learnt it." in page.text
    assert codes(page) == ["LG-26-01", "LG-26-02", "LG-26-03"]
    assert not set(SITTING) & page.form().values.keys(), "nothing is answered beforehand"
    typed = {
        "y_0_name": "Perrin",
        "y_0_grams": "12.5",
        "y_0_check": "hemipenes male",
        "y_1_grams": "11",
        "y_1_traits": "amel, pied",
        "y_1_check": "nothing undetermined",
        "y_2_code": "LG-26-07",
    }
    first, second = (register(odile, page, **typed, **SITTING) for _ in range(2))
    assert first.goes_to == second.goes_to == f"/collections/{here.collection.pk}/clutches"
    assert "3 young registered: LG-26-01 to LG-26-07." in odile.open(first.goes_to).text
    young = Animal.objects.filter(dam=dam.pk, sire=sire.pk)
    found = {one.identifiers.get().code: one for one in young}
    assert found.keys() == {"LG-26-01", "LG-26-02", "LG-26-07"}
    one, two, three = (found[code] for code in sorted(found))
    assert {one.species, two.species} == {"python_regius"}
    assert (one.name, two.name, one.version) == ("Perrin", "", 2), "named once"
    assert (one.traits, two.traits, three.traits) == (["amel"], ["amel", "pied"], ["amel"])
    assert {str(one.hatched) for one in young} == {"2026-08-01"}
    assert "12.5 g" in odile.open(f"/animals/{one.pk}").text
    calls = {call.animal_id: call for call in Call.objects.all()}
    assert calls.keys() == {one.pk, two.pk}
    assert calls[one.pk].identity == "tub_tag"
    assert calls[one.pk].body["observed"] == {
        "method": "eversion", "manner": "manual", "seen": "hemipenes",
    }  # fmt: skip
    sure = {pk: (call.conclusion, call.body["sureness"]) for pk, call in calls.items()}
    assert sure == {one.pk: ("male", "certain"), two.pk: ("undetermined", "unsure")}
    assert "told" not in calls[one.pk].body


@pytest.mark.parametrize(("days", "told"), [(2, 2), (3, 1), (14, 1), (15, 0)])
def test_young_are_let_be_until_the_yolk_and_the_first_shed_are_done(
    here: Here, odile: Browser, pair: tuple[Animal, Animal], days: int, told: int
) -> None:
    """Common practice, no source."""
    hatched = str(timezone.localdate() - timedelta(days=days))
    page = grid(odile, here, dam=str(pair[0].pk), sire=str(pair[1].pk), hatched=hatched)
    sentences = ["The yolk may not be taken up yet", "until each has shed for the first time"]
    assert [one in page.text for one in sentences] == [told == 2, told >= 1]


def test_labels_for_a_clutch_bear_codes_and_no_names(
    here: Here, odile: Browser, pair: tuple[Animal, Animal]
) -> None:
    page = grid(odile, here, dam=str(pair[0].pk), sire=str(pair[1].pk))
    done = register(odile, page, y_0_name="Perrin")
    (labels,) = [one for one in odile.open(done.goes_to).links if one.endswith("/labels")]
    printed = odile.open(labels).text
    for code in ("LG-26-01", "LG-26-02", "LG-26-03"):
        assert code in printed
    assert "Perrin" not in printed, "a blind guest may read a label"


def test_a_planned_pairing_fills_in_both_parents(
    here: Here, odile: Browser, pair: tuple[Animal, Animal]
) -> None:
    dam, sire = pair
    body = {"sire": str(sire.pk), "dam": str(dam.pk), "season": here.now.year}
    here.say(here.odile, "pairing_planned", new_id(here.now), body)
    pairing = Pairing.objects.get()
    assert f"{here.now.year}: Fern with Rowan" in odile.open(path(here)).text
    refused = grid(odile, here, pairing=str(pairing.pk), sire=str(dam.pk))
    assert refused.status == 422
    assert "The pairing that you chose has another." in refused.text
    page = grid(odile, here, pairing=str(pairing.pk))
    assert register(odile, page).status == 302
    assert Animal.objects.filter(dam=dam.pk, sire=sire.pk).count() == 3


def test_codes_in_use_are_named_before_anything_is_written(
    here: Here, odile: Browser, pair: tuple[Animal, Animal]
) -> None:
    here.animal("LG-26-02")
    here.now_is_now()
    refused = grid(odile, here, species="python_regius")
    assert refused.status == 422
    assert "LG-26-02 is in use for other animals of yours. Number these from 3" in refused.text
    page = grid(odile, here, species="python_regius", first="3")
    assert codes(page) == ["LG-26-03", "LG-26-04", "LG-26-05"]
    before = Entry.objects.count()
    refused = register(odile, page, y_0_code="LG-26-02", y_1_code="LG-26-05", y_0_grams="9")
    assert refused.status == 422
    assert "Row 1, code : LG-26-02 is the code of another of your animals." in refused.text
    assert "Row 3, code : LG-26-05 stands in another row too." in refused.text
    assert refused.form().values["y-0-grams"] == ["9"], "what was typed is still there"
    assert Entry.objects.count() == before


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"pattern": "LG-26"}, "Put # where the number goes"),
        ({"number": "101"}, "less than or equal to 100"),
        ({"number": "0"}, "greater than or equal to 1"),
        ({"species": ""}, "it does not follow from the parents"),
        ({"hatched": ""}, "This field is required."),
    ],
)
def test_what_all_share_is_looked_at_first(
    here: Here, odile: Browser, typed: dict[str, str], said: str
) -> None:
    here.now_is_now()
    refused = grid(odile, here, **{"species": "python_regius", **typed})
    assert refused.status == 422
    assert said in refused.text


def test_both_parents_say_what_the_young_are(here: Here, odile: Browser) -> None:
    dam, sire = here.animal("D-1"), here.animal("S-1")
    other = here.animal("C-1", "pantherophis_guttatus")
    here.now_is_now()
    refused = grid(odile, here, dam=str(dam.pk), sire=str(sire.pk), species="boa_imperator")
    assert "Both parents are on record as ball python." in refused.text
    refused = grid(odile, here, dam=str(dam.pk), sire=str(other.pk))
    assert "it does not follow from the parents" in refused.text


def test_one_impossible_row_registers_none_and_loses_nothing(here: Here, odile: Browser) -> None:
    here.now_is_now()
    page = grid(odile, here, species="python_regius")
    before = Entry.objects.count()
    refused = register(odile, page, y_0_grams="12", y_1_grams="0", y_2_traits="a@b")
    assert refused.status == 422
    assert "Row 2, grams : A snake weighs more than nothing." in refused.text
    assert "Row 3, traits : A trait is a word for a colour or pattern." in refused.text
    assert refused.form().values["y-0-grams"] == ["12"]
    assert (Entry.objects.count(), Animal.objects.count()) == (before, 0)
    future = register(odile, page, hatched="2099-01-01")
    assert future.text.count("The hatch date lies in the future.") == 2, "above, and at the day"
    assert register(odile, refused, y_1_grams="13", y_2_traits="").status == 302
    assert Animal.objects.count() == 3


def test_whoever_checked_any_says_whether_they_had_been_told(here: Here, odile: Browser) -> None:
    here.now_is_now()
    page = grid(odile, here, species="python_regius")
    refused = register(odile, page, y_0_check="hemipenes male")
    assert refused.status == 422
    assert "told you their sex before you checked? This field is required." in refused.text
    assert not Animal.objects.exists()
    assert not {"told", "held_by", "sureness"} & refused.form().values.keys()
    told = {**SITTING, "told": "male"}
    assert register(odile, refused, **told).status == 302
    assert [call.body["told"] for call in Call.objects.all()] == ["male"]


def test_a_row_that_was_emptied_is_left_out(here: Here, odile: Browser) -> None:
    here.now_is_now()
    page = grid(odile, here, species="python_regius", shared="amel")
    refused = register(odile, page, y_1_code="", y_1_grams="9")
    assert "Row 2, code : Give it a code, or empty the row to leave it out." in refused.text
    none = register(odile, page, y_0_code="", y_1_code="", y_2_code="")
    assert "Every row is empty." in none.text
    assert register(odile, page, y_1_code="").status == 302
    assert set(Identifier.objects.values_list("code", flat=True)) == {"LG-26-01", "LG-26-03"}


@pytest.mark.one_in(1)
def test_looking_through_it_stores_nothing(here: Here, odile: Browser) -> None:
    """What Enter does without script."""
    here.now_is_now()
    page = grid(odile, here, species="python_regius")
    buttons = [given for tag, given in page.tags if tag == "button" and given.get("name") == "step"]
    assert [one["value"] for one in buttons] == ["check", "register"]
    shown = press(odile, page.form(), "check", **{"y-0-grams": "12"})
    assert shown.status == 200
    assert shown.form().values["y-0-grams"] == ["12"]
    assert not Animal.objects.exists()


def test_what_is_changed_after_it_was_stored_is_not_stored_again(
    here: Here, odile: Browser
) -> None:
    here.now_is_now()
    page = grid(odile, here, species="python_regius")
    assert register(odile, page).status == 302
    before = Entry.objects.count()
    again = register(odile, page, y_0_code="LG-26-09", y_1_grams="10")
    assert "This clutch is registered already." in again.text
    assert Entry.objects.count() == before


def test_parents_are_those_one_sees_whole(
    here: Here, odile: Browser, greta: Browser, stan: Browser
) -> None:
    """Neither another keeper's dam nor one that is still to be checked blind."""
    dam = here.animal("D-1")
    here.visit(here.greta, dam)
    room = collection_of(here, "Greta's shelf")
    here.now_is_now()
    theirs = f"/collections/{room}/clutches/new"
    for who in (greta, stan):
        assert who.open(path(here)).status == 404
    page = greta.open(theirs)
    assert str(dam.pk) not in page.html
    typed = {**SHARED, "species": "python_regius"}
    refused = press(greta, page.form(), "next", **typed, dam=str(dam.pk))
    assert refused.status == 422
    assert "cannot be chosen here" in refused.text
    shown = press(greta, page.form(), "next", **typed)
    refused = press(greta, shown.form(), "register", dam=str(dam.pk))
    assert refused.status == 422
    assert Animal.objects.count() == 1


def test_what_is_typed_stays_while_one_looks_for_a_parent(here: Here, odile: Browser) -> None:
    for number in range(OFFERED + 1):
        here.animal(f"T-{number:02}")
    dam = here.animal("Z-1")
    here.now_is_now()
    form = odile.open(path(here)).form()
    form.names["find"] = "button"
    page = odile.send(form, **SHARED, species="python_regius", find_dam="Z-1", find="dam")
    assert page.status == 200
    kept = page.form().values
    assert {name: kept[name] for name in SHARED} == {
        name: [typed] for name, typed in SHARED.items()
    }
    shown = press(odile, page.form(), "next", dam=str(dam.pk))
    assert "Ball python; dam Z-1" in shown.text
    assert register(odile, shown).status == 302
    assert Animal.objects.filter(dam=dam.pk).count() == 3


def collection_of(here: Here, name: str) -> UUID:
    return create_collection(here.greta, new_id(here.now), name, here.now).pk


def test_a_hundred_are_as_many_as_one_form_takes(here: Here, odile: Browser) -> None:
    here.now_is_now()
    page = grid(odile, here, species="boa_imperator", number="100", pattern="B-###")
    typed: dict[str, str] = {}
    for n in range(100):
        typed |= {f"y_{n}_grams": "60", f"y_{n}_check": "nothing female"}
    assert register(odile, page, **typed, **SITTING).status == 302
    assert Animal.objects.count() == 100
    assert Call.objects.count() == 100
    forged = page.form()
    forged.values |= {"y-TOTAL_FORMS": ["101"], "y-INITIAL_FORMS": ["0"]}
    assert press(odile, forged, "register").status == 422
