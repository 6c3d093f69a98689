"""A list brought in on pages: looked through, answered, confirmed; nothing lost, nothing twice."""

import csv
import io
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from tests.domain.tables.lists import workbook
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.world import new_id

from scalewitness.animals.models import Animal, Husbandry, Identifier
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.domain.errors import Busy
from scalewitness.domain.tables.sheets import Unreadable
from scalewitness.importing.models import Upload
from scalewitness.importing.services import storing
from scalewitness.importing.services.reading import read_apart
from scalewitness.importing.tasks import forget_old_lists
from scalewitness.ledger.models import Entry
from scalewitness.standings.models import Standing

pytestmark = pytest.mark.one_in(6)

LIST = (
    "Tag;Species;Sex;Weight (g);Chip\nI-1;BP;1.0;1.240,5;\nI-2;corn;f?;;900012000007777\nI-3;;m;;\n"
)


def bring(browser: Browser, here: Here, content: str | bytes = LIST, name: str = "a.csv") -> Page:
    """The page that shows what would become of it."""
    form = browser.open("/import").form()
    sent = content.encode() if isinstance(content, str) else content
    file: Any = SimpleUploadedFile(name, sent)
    return led(browser, browser.send(form, file=file, collection=str(here.collection.pk)))


def led(browser: Browser, page: Page) -> Page:
    """Where a redirect leads, if it is one."""
    return browser.open(page.goes_to) if page.status == 302 else page


def answer(browser: Browser, page: Page, **replies: str) -> Page:
    """Replies by the names of their questions."""
    form = next(one for one in page.forms if any(name.startswith("column-") for name in one.names))
    typed = {}
    for name, value in form.values.items():
        if name.startswith("asked-") and value[0] in replies:
            kind = "day" if replies[value[0]].startswith("20") else "reply"
            typed[name.replace("asked", kind)] = replies[value[0]]
    return led(browser, browser.send(form, **typed))


def store(browser: Browser, page: Page) -> Page:
    form = next(one for one in page.forms if one.action.endswith("/storing"))
    return led(browser, browser.send(form))


ANSWERS = {"sex_from": "own", "weighed": "2026-01-02", "species": "boa_imperator"}


@pytest.mark.one_in(1)
def test_nothing_is_stored_before_it_is_confirmed_and_then_each_line_whole(
    here: Here, odile: Browser
) -> None:
    before = Entry.objects.count()
    page = bring(odile, here)
    page = answer(odile, page, **ANSWERS)
    assert Entry.objects.count() == before
    assert "3 will be stored" in page.text
    done = store(odile, page)
    assert "3 animals stored." in done.text
    one = Identifier.objects.get(code="I-1").animal
    assert (one.species, one.collection_id) == ("python_regius", here.collection.pk)
    weight = Husbandry.objects.get(animal=one)
    assert (weight.noted["grams"], weight.at.date().isoformat()) == ("1240.5", "2026-01-02")
    call = Call.objects.get(animal=one)
    assert (call.conclusion, call.body["observed"]["method"]) == ("male", "visual")
    assert call.body["told"] == "male"
    assert not call.blind
    label = Standing.objects.filter(animal=one.pk).order_by("position").reverse()[0].label
    assert label == "unsexed"
    two = Identifier.objects.get(code="900012000007777").animal
    assert Call.objects.get(animal=two).body["sureness"] == "unsure"


def test_what_is_open_keeps_back_its_lines_and_no_others(here: Here, odile: Browser) -> None:
    page = answer(odile, bring(odile, here), sex_from="out")
    done = store(odile, page)
    assert "1 animal stored." in done.text
    assert Identifier.objects.filter(code__startswith="I-").count() == 1
    last = answer(odile, done, **ANSWERS)
    assert "3 animals stored." in store(odile, last).text
    assert Identifier.objects.filter(code__startswith="I-").count() == 3


@pytest.mark.one_in(1)
def test_the_same_file_twice_doubles_nothing(here: Here, odile: Browser) -> None:
    store(odile, answer(odile, bring(odile, here), **ANSWERS))
    entries = Entry.objects.count()
    again = answer(odile, bring(odile, here), **ANSWERS)
    assert "3 already here" in again.text
    assert not [one for one in again.forms if one.action.endswith("/storing")]
    assert Entry.objects.count() == entries


def test_an_animal_by_its_name_alone_is_known_again_too(here: Here, odile: Browser) -> None:
    text = "name,species\nSorrel,bp\n"
    assert "1 animal stored." in store(odile, bring(odile, here, text)).text
    assert "1 already here" in bring(odile, here, text).text
    assert Animal.objects.filter(name="Sorrel").count() == 1


def test_what_is_confirmed_is_what_was_looked_at(here: Here, odile: Browser) -> None:
    """Answers changed in another tab: the lines are shown again, and none is stored."""
    first = answer(odile, bring(odile, here), **ANSWERS)
    answer(odile, first, species="python_regius")
    before = Entry.objects.count()
    assert "Look through the lines once more" in store(odile, first).text
    assert Entry.objects.count() == before


def test_a_line_that_the_record_refuses_costs_no_other(
    here: Here, odile: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = storing.facts_of

    def with_a_fault(draft: Any, *rest: Any) -> Any:
        made = real(draft, *rest)
        if draft.tag == "I-2":
            made[-1]["body"]["held_by"] = "nobody"
        return made

    monkeypatch.setattr(storing, "facts_of", with_a_fault)
    done = store(odile, answer(odile, bring(odile, here), **ANSWERS))
    assert "2 animals stored." in done.text
    assert {one.code for one in Identifier.objects.filter(code__startswith="I-")} == {"I-1", "I-3"}
    assert not Identifier.objects.filter(code="900012000007777").exists(), "not without its chip"
    upload = Upload.objects.get()
    refused = odile.client.get(f"/imports/{upload.pk}/refused").content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(refused)))
    assert [row[0] for row in rows] == ["Tag", "I-2"]
    assert rows[1][-1].startswith("Line 3: ")


def test_a_record_that_is_busy_stops_nothing_for_good(
    here: Here, odile: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = answer(odile, bring(odile, here), **ANSWERS)
    with monkeypatch.context() as now:
        now.setattr(storing, "take_turn", _busy)
        held = store(odile, page)
        assert "The record is busy." in held.text
    assert not Identifier.objects.filter(code__startswith="I-").exists()
    assert "3 animals stored." in store(odile, held).text


def _busy() -> None:
    raise Busy()


def test_a_list_is_its_bringers_alone(here: Here, odile: Browser, stan: Browser) -> None:
    bring(odile, here)
    upload = Upload.objects.get()
    for path in ("", "/refused"):
        assert stan.client.get(f"/imports/{upload.pk}{path}").status_code == 404
    for path in ("/storing", "/deletion", ""):
        assert stan.client.post(f"/imports/{upload.pk}{path}").status_code == 404
    assert Upload.objects.filter(pk=upload.pk).exists()


def test_nobody_brings_animals_into_anothers_collection(here: Here, stan: Browser) -> None:
    create_collection(here.stan, mine := new_id(), "Mine", here.now)
    form = stan.open("/import").form()
    assert form.values["collection"] == [str(mine)]
    file: Any = SimpleUploadedFile("a.csv", LIST.encode())
    page = stan.send(form, file=file, collection=str(here.collection.pk))
    assert page.status == 422
    assert not Upload.objects.exists()


def test_a_partner_whose_share_ended_confirms_nothing(here: Here, odile: Browser) -> None:
    grant = here.make_partner(here.stan)
    here.now_is_now()
    stan = Browser(here.stan)
    page = answer(stan, bring(stan, here), **ANSWERS)
    before = Entry.objects.count()
    here.say(here.odile, "grant_revoked", here.collection.pk, {"grant": str(grant)})
    form = next(one for one in page.forms if one.action.endswith("/storing"))
    assert stan.client.post(form.action, form.values).status_code == 404
    assert not Identifier.objects.filter(code__startswith="I-").exists()
    assert Entry.objects.count() == before + 1


@pytest.mark.one_in(1)
def test_a_number_of_anothers_animal_is_not_told_before_it_is_stated(
    here: Here, odile: Browser, stan: Browser
) -> None:
    """A list of guesses would find out who has which snake."""
    create_collection(here.stan, mine := new_id(), "Mine", here.now)
    here.collection, kept = type(here.collection).objects.get(pk=mine), here.collection
    store(stan, bring(stan, here, "chip,species\n900012000007777,corn\n"))
    here.collection = kept
    page = bring(odile, here, "chip,species\n900012000007777,corn\n900012000007778,corn\n")
    assert "2 will be stored" in page.text
    assert (
        "Known elsewhere, as other records bore them first: 900012000007777."
        in store(odile, page).text
    )


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (b"PK\x03\x04x", "damaged"),
    ],
)
def test_what_is_no_list_is_refused_beside_its_field(
    here: Here, odile: Browser, content: bytes, why: str
) -> None:
    page = bring(odile, here, content, "list.xlsx")
    assert page.status == 422
    assert why in page.text
    assert not Upload.objects.exists()


def test_a_file_that_would_take_all_memory_takes_down_its_reader_alone() -> None:
    """One cell far out: a reader that lays cells out in a square wants 400 GB."""
    content = workbook([["Tag"]])
    with pytest.raises(Exception, match=r"columns|too large"):
        read_apart(_far_out(content))


def test_a_small_file_that_holds_too_much_to_be_looked_through_is_refused() -> None:
    """Three megabytes of commas: a page of them would take hundreds of megabytes each time."""
    with pytest.raises(Unreadable, match="Split it"):
        read_apart(b"tag,name\n" + (b"," * 99 + b"\n") * 30_000)


def _far_out(content: bytes) -> bytes:
    from zipfile import ZipFile

    file = io.BytesIO()
    with ZipFile(io.BytesIO(content)) as old, ZipFile(file, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name.endswith("sheet1.xml"):
                far = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
                text = text.replace(b"</sheetData>", far)
            new.writestr(name, text)
    return file.getvalue()


def test_lists_are_kept_for_a_day(here: Here, odile: Browser) -> None:
    bring(odile, here)
    Upload.objects.update(brought_at=timezone.now() - timedelta(hours=25))
    upload = Upload.objects.get()
    assert odile.client.get(f"/imports/{upload.pk}").status_code == 404
    assert forget_old_lists() == 1
    assert not Upload.objects.exists()


def test_the_last_few_lists_of_a_keeper_are_kept(here: Here, odile: Browser) -> None:
    for number in range(7):
        bring(odile, here, name=f"{number}.csv")
    kept = Upload.objects.order_by("brought_at").values_list("name", flat=True)
    assert list(kept) == [f"{number}.csv" for number in range(2, 7)]


def test_a_list_can_be_deleted(here: Here, odile: Browser) -> None:
    page = bring(odile, here)
    form = next(one for one in page.forms if one.action.endswith("/deletion"))
    assert "deleted" in led(odile, odile.send(form)).text
    assert not Upload.objects.exists()


def test_columns_can_be_changed_and_another_sheet_chosen(here: Here, odile: Browser) -> None:
    page = bring(odile, here, "A;Species;Shelf code\nx;bp;Q1\n")
    form = next(one for one in page.forms if any(name.startswith("column-") for name in one.names))
    read = led(odile, odile.send(form, **{"column-2": "tag"}))
    assert "1 will be stored" in read.text
    assert "Q1" in read.text
