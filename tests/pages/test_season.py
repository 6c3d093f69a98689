"""A breeder plans a season, sees what it hangs on, and takes a repair up."""

import re

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.world import new_id

from scalewitness.breeding.models import Pairing
from scalewitness.seasons.models import Season
from scalewitness.seasons.services.computing import compute_due

pytestmark = pytest.mark.one_in(6)


def test_a_season_is_planned_by_hand_worked_out_and_changed(here: Here, odile: Browser) -> None:
    sire, dam = here.verified("M-1"), here.animal("F-1")
    here.name(sire, "Barnaby")
    here.name(dam, "Fern")
    here.call(here.odile, dam, "female")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/seasons/2027"
    empty = odile.open(path)
    assert "No pairing is planned yet." in empty.text
    assert "nothing is worked out yet" in empty.text
    planned = odile.fill(path, sire=str(sire.pk), dam=str(dam.pk))
    assert planned.goes_to == path
    assert Pairing.objects.get().season == 2027
    compute_due(here.now)
    page = odile.open(path)
    assert "Being computed again" not in page.text
    assert re.search(r"Worked out from what you may see up to log position \d+", page.text)
    assert "one is probable only" in page.text, "how sure the pair is stands in words too"
    assert "would hurt most" in page.text
    assert "What to check first" in page.text


def test_the_best_plan_is_asked_for_and_taken_up_once(here: Here, odile: Browser) -> None:
    sire, dam = here.verified("M-1"), here.animal("F-1")
    here.call(here.odile, dam, "female")
    pair = {"sire": str(sire.pk), "dam": str(dam.pk), "season": 2027}
    here.say(here.odile, "pairing_planned", new_id(here.now), pair)
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/seasons/2027"
    compute_due(here.now)
    assert odile.send(odile.open(path).form("/best")).goes_to == path
    other = here.animal("F-2")
    here.call(here.odile, other, "female")
    assert "Being computed again" in odile.open(path).text
    compute_due(here.now)
    best = odile.open(path)
    assert "The best plan" in best.text
    form = best.form("/change")
    changed = odile.send(form)
    assert changed.goes_to == path
    assert Pairing.objects.filter(end=None).count() == 2
    again = odile.send(form)
    assert again.goes_to == path, "sent twice it says the same twice"
    assert Pairing.objects.count() == 2


def test_a_plan_that_was_changed_meanwhile_is_not_changed_blindly(
    here: Here, odile: Browser
) -> None:
    sire, dams = here.verified("M-1"), [here.animal("F-1"), here.animal("F-2")]
    for dam in dams:
        here.call(here.odile, dam, "female")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/seasons/2027"
    odile.send(odile.open(path).form("/best"))
    compute_due(here.now)
    read = odile.open(path).form("/change")
    pair = {"sire": str(sire.pk), "dam": str(dams[0].pk), "season": 2027}
    here.say(here.odile, "pairing_planned", new_id(here.now), pair)
    refused = odile.send(read)
    assert refused.status == 409
    assert "changed since you read it" in refused.text
    assert Pairing.objects.count() == 1


def test_what_no_page_sends_is_refused(here: Here, odile: Browser) -> None:
    here.animal("M-1")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/seasons/2027"
    one, two = str(new_id(here.now)), f"{new_id(here.now)}/{new_id(here.now)}"
    for sent in ({"shown": two, "drop": two}, {"drop": one}, {"add": two}, {"drop": "none"}):
        refused = odile.client.post(f"{path}/change", sent)
        assert refused.status_code == 422


def test_what_is_wanted_is_said_on_the_page(here: Here, odile: Browser) -> None:
    here.animal("M-1")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/seasons/2027"
    page = odile.open(f"{path}/wants")
    found = re.search(r'value="(python_regius/albino/[a-z_]+)"', page.html)
    assert found
    sent = {"w0-first": found[1], "w0-sex": "female", "w0-weight": "5", "females_per_male": "3"}
    assert odile.fill(f"{path}/wants", **sent).goes_to == path
    kept = Season.objects.get()
    assert kept.limits["females_per_male"] == 3
    (want,) = kept.wants
    assert (want["sex"], want["weight"], want["traits"][0]["locus"]) == ("female", 5.0, "albino")
    stale = odile.send(page.form("/wants"))
    assert stale.status == 412
    assert odile.fill(f"{path}/wants", **{"w0-weight": "-1"}).status == 422
    want["traits"][0] = want["traits"][0] | {"look": None, "genotype": ["albino"] * 2}
    Season.objects.update(wants=[want])
    assert odile.fill(f"{path}/wants", clutches="7").goes_to == path
    kept.refresh_from_db()
    assert kept.wants == [want], "what the row cannot show stays as it was"


def test_a_guest_sees_no_season(here: Here, greta: Browser) -> None:
    animal = here.animal("M-1")
    here.visit(here.greta, animal)
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/seasons/2027"
    assert greta.open(path).status == 404
    assert greta.open(f"{path}/wants").status == 404
    assert greta.open(f"/collections/{here.collection.pk}/seasons/1066").status == 404
