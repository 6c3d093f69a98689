"""One snake on two records, as its readers see it: keepers of both, a buyer, a blind guest."""

import pytest
from django.utils import timezone
from tests.api.client import Api
from tests.intake.test_known_elsewhere import NUMBER, Two, two
from tests.pages.browser import Browser
from tests.pages.test_papers import fetched, text_of
from tests.world import new_id

from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import OfferLink

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]
__all__ = ["two"]
SENTENCE = "This number is known elsewhere"
SINCE = "Another record bears this transponder’s number since"


def test_whoever_types_it_is_told_at_once_and_what_to_do(two: Two) -> None:
    stan = Browser(two.world.stan)
    form = stan.open(f"/animals/{two.newer.pk}/identifiers/new").form()
    after = stan.open(stan.send(form, scheme="transponder", code=NUMBER).goes_to)
    assert SENTENCE in after.text
    assert "Ask them to hand that over to you" in after.text
    assert f"/animals/{two.newer.pk}/identifiers/withdraw" in after.links
    assert "Odile" not in after.text
    assert str(two.older.pk) not in after.html


def test_whoever_registers_it_is_told_at_once(two: Two) -> None:
    stan = Browser(two.world.stan)
    form = stan.open(f"/collections/{two.stans.collection.pk}/animals/new").form()
    typed = {"species": "python_regius", "name": "Moss"}
    sent = stan.send(form, **typed, scheme="transponder", identifier=NUMBER)
    after = stan.open(sent.goes_to)
    assert "Moss" in after.text
    assert "another record bore it first" in after.text


def test_the_keeper_of_the_older_reads_that_nothing_of_it_changes(two: Two) -> None:
    odile, path = Browser(two.world.odile), f"/animals/{two.older.pk}"
    assert SINCE not in odile.open(path).text
    two.give()
    after = odile.open(path)
    assert SINCE in after.text
    assert "Stan" not in after.text
    two.world.view(two.world.greta, two.older)
    assert SINCE not in Browser(two.world.greta).open(path).text, "for who keeps it alone"


def test_ones_own_other_record_is_named(two: Two) -> None:
    twin = two.world.animal("A3")
    two.give(to=twin)
    odile = Browser(two.world.odile)
    assert f"/animals/{two.older.pk}" in odile.open(f"/animals/{twin.pk}").links
    assert f"/animals/{twin.pk}" in odile.open(f"/animals/{two.older.pk}").links


def test_it_is_withdrawn_on_its_page_and_the_history_of_both_tells(two: Two) -> None:
    two.give()
    odile, stan = Browser(two.world.odile), Browser(two.world.stan)
    form = odile.open(f"/animals/{two.older.pk}/identifiers/withdraw").form()
    sent = odile.send(form, borne="transponder 985000012345678", note="I misread it.")
    assert "985000012345678" not in odile.open(sent.goes_to).text
    of_older = odile.open(f"/animals/{two.older.pk}/history").text
    assert "transponder 985000012345678; another record bears it now" in of_older
    of_newer = stan.open(f"/animals/{two.newer.pk}/history").text
    assert "transponder 985000012345678; another record bore it already" in of_newer
    assert SENTENCE not in stan.open(f"/animals/{two.newer.pk}").text


def test_a_number_that_moved_is_in_the_history_of_both_for_whoever_sees_either(two: Two) -> None:
    """Also over the API, where the facts themselves are read; a blind guest has no history."""
    two.withdraw(two.older)
    two.give()
    two.world.view(two.world.greta, two.older)
    greta = Browser(two.world.greta).open(f"/animals/{two.older.pk}/history").text
    assert "transponder 985000012345678; another record bears it now" in greta
    stan = Browser(two.world.stan).open(f"/animals/{two.newer.pk}/history").text
    assert "transponder 985000012345678; another record had borne it, and did so by mistake" in stan
    told = Api(two.world.greta).get(f"/animals/{two.older.pk}/history").body
    assert "identifier_withdrawn" in str(told)


def test_a_number_that_was_checked_says_why_it_stays(two: Two) -> None:
    two.contradict()
    odile = Browser(two.world.odile)
    form = odile.open(f"/animals/{two.older.pk}/identifiers/withdraw").form()
    refused = odile.send(form, borne="transponder 985000012345678")
    assert refused.status == 409
    assert "whoever made it withdraws it first" in refused.text


def test_a_buyer_reads_it_on_offer_and_paper(two: Two) -> None:
    two.give()
    two.agree()
    two.stans.now = timezone.now()
    sale = two.stans.draft(two.newer)
    two.stans.offer(sale)
    offered = Browser().open(f"/offers/{link_token(OfferLink.objects.get(sale=sale).pk)}")
    assert SENTENCE in offered.text
    assert "probable female" in offered.text.lower()
    assert "Odile" not in offered.text
    paper = fetched(Browser(two.world.stan), f"/animals/{two.newer.pk}/record.pdf")
    assert SENTENCE in " ".join(text_of(paper).split())


def test_over_the_api(two: Two) -> None:
    stan = Api(two.world.stan)
    path, body = f"/animals/{two.newer.pk}/identifiers", {"scheme": "transponder", "code": NUMBER}
    item = two.world.item("", two.newer.pk, body)
    fact = {name: item[name] for name in ("id", "at", "body")}
    assert stan.post(path, fact).body["flags"] == ["known_elsewhere"]
    assert stan.get(f"/animals/{two.newer.pk}").body["standing"]["known_elsewhere"] is True
    fact["id"] = str(new_id())
    assert stan.post(f"{path}/withdrawal", fact).body["status"] == "accepted"
    shown = stan.get(f"/animals/{two.newer.pk}").body
    assert shown["standing"]["known_elsewhere"] is False
    assert [one["scheme"] for one in shown["identifiers"]] == ["tag"]


def test_a_guest_blind_to_either_sees_no_difference(two: Two) -> None:
    two.world.now = two.stans.now = timezone.now()
    two.world.visit(two.world.greta, two.older)
    two.stans.visit(two.world.greta, two.newer)
    two.give("985000000000088")
    greta, api = Browser(two.world.greta), Api(two.world.greta)
    paths = [f"/animals/{one.pk}" for one in (two.older, two.newer)]

    def seen() -> list[str]:
        return [*(greta.open(path).text for path in paths), *(str(api.get(p).body) for p in paths)]

    cursor, size = api.get("/changes").body["cursor"], Entry.objects.count()
    before = seen()
    assert "S1" in before[1]
    two.world.say(
        two.world.stan, "identifier_assigned", two.newer.pk,
        {"scheme": "scale_photo", "code": "nothing that the blind are shown"},
    )  # fmt: skip
    two.give("985000000000088", to=two.older)  # now that of hers is the newer
    assert Entry.objects.count() > size + 2, "and a standing said so"
    after = seen()
    assert after[1] == before[1]
    assert after[3] == before[3]
    assert "known" not in after[0] + after[2]
    items = api.get("/changes", cursor=cursor).body["items"]
    assert [one["animal"]["id"] for one in items if one["type"] == "animal"] == [str(two.older.pk)]


def test_the_letters_say_what_to_do_and_name_nobody_else(two: Two) -> None:
    two.give()
    for letter in Letter.objects.filter(kind="number_known"):
        text = str(compose(letter).body)
        assert "985000012345678" in text
        assert "Neither of you is told who the" in text
        assert ("hand the record over" in text) == ("stan" in letter.to)
        assert ("Nothing of your record changes" in text) == ("odile" in letter.to)
