"""What somebody new finds: three steps, and an example that anybody can look at."""

from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.ledger.models import Entry


def test_somebody_new_reads_what_to_do_and_what_it_is_good_for(here: Here, stan: Browser) -> None:
    here.now_is_now()
    page = stan.open("/")
    for words in ("Bring in your animals", "Have them checked blind", "Read what the record says"):
        assert words in page.text
    assert {"/example", "/collections/new"} <= set(page.links)
    stan.fill("/collections/new", name="Mine")
    room = here.stan.collections.get()
    page = stan.open("/")
    assert {f"/collections/{room.pk}/{one}" for one in ("animals/new", "clutches/new")} <= set(
        page.links
    )
    here.animal("S-1", room=room)
    assert "Bring in your animals" not in stan.open("/").text, "they know their way now"


def test_the_example_is_anybodys_to_look_at_and_in_no_log(here: Here, anyone: Browser) -> None:
    before = Entry.objects.count()
    assert "/example" in anyone.open("/").links
    page = anyone.open("/example")
    assert page.status == 200
    assert "An example." in page.text
    assert "nothing of this is in the log" in page.text
    for words in ("Quill", "verified female", "What could be wrong", "Ada Quennell", "blind",
                  "Every number behind this, with its source", "sexing-3"):  # fmt: skip
        assert words in page.text
    assert "position" not in page.text.split("Calls, in the order they came")[1]
    assert not [one for one in page.links if "/receipts/" in one or "/calls/" in one]
    assert Entry.objects.count() == before
    assert Browser(here.odile).open("/example").text.count("Back to Today") == 1
