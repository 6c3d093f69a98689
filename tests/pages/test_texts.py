"""The way to erase a text, beside the text."""

from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.ledger.models import Text


def test_one_s_own_note_is_erased_from_the_page_it_shows_on(
    here: Here, odile: Browser, stan: Browser
) -> None:
    animal = here.animal("A1")
    here.call(here.odile, animal, "male", texts={"note": "She was cross with us."})
    here.make_partner(here.pim)
    page = odile.open(f"/animals/{animal.pk}")
    (link,) = [one for one in page.links if "/erasure" in one]
    assert odile.open(link).status == 302, "asked again first"
    asked = odile.again().open(link)
    assert "She was cross with us." in asked.text
    assert "fingerprint" in asked.text
    assert stan.again().open(link).status == 404
    pim = Browser(here.pim).again()
    seen = pim.open(f"/animals/{animal.pk}")
    assert "She was cross" in seen.text
    assert not [one for one in seen.links if "/erasure" in one]
    assert pim.open(link).status == 404
    done = odile.send(asked.form())
    assert done.goes_to == f"/animals/{animal.pk}"
    assert not Text.objects.exists()
    after = odile.open(f"/animals/{animal.pk}")
    assert "She was cross" not in after.text
    assert not [one for one in after.links if "/erasure" in one]
    assert "no text any more" in odile.open(link).text


def test_nobody_is_sent_elsewhere_afterwards(here: Here, odile: Browser) -> None:
    animal = here.animal("A1")
    made = here.call(here.odile, animal, "male", texts={"note": "Short."})
    odile.again()
    for away in ("https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"):
        asked = odile.open(f"/texts/{made.id}/erasure?back={away}")
        assert "elsewhere" not in str(asked.links)
        assert "alert" not in str(asked.links)
        assert odile.send(asked.form()).goes_to == "/"
