"""One snake on two records, as keepers, readers, a blind guest and clients see it joined."""

import pytest
from django.utils import timezone
from tests.api.client import Api
from tests.intake.test_joining import alike, answer, join, level, propose, standing
from tests.intake.test_known_elsewhere import NUMBER, Two, two
from tests.pages.browser import Browser
from tests.pages.test_papers import fetched, text_of
from tests.world import new_id

from scalewitness.animals.models import Joining
from scalewitness.domain.errors import Refused
from scalewitness.domain.facts import ExaminerRecordChanged, SettledCounts
from scalewitness.intake.batch import Actor, Batch
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.standings.services import store_examiner_record

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]
__all__ = ["alike", "two"]


def today(two: Two) -> None:
    two.world.now = two.stans.now = timezone.now()


def choose(who: Browser, path: str, act: str) -> str:
    """The keeper follows the link on the animal's page and chooses; the page they come back to."""
    link = f"{path}/joining"
    assert link in who.open(path).links
    page = who.open(link)
    (value,) = {
        given["value"]
        for tag, given in page.tags
        if tag == "input" and str(given.get("value")).startswith(act)
    }
    return who.open(who.send(page.form(), say=str(value)).goes_to).text


def test_asked_agreed_to_and_undone_on_their_pages(alike: Two) -> None:
    today(alike)
    odile, stan = Browser(alike.world.odile), Browser(alike.world.stan)
    hers, his = (f"/animals/{one.pk}" for one in (alike.older, alike.newer))
    choose(stan, his, f"join {NUMBER.replace(' ', '')}")
    assert "Stan Okoro asks" in odile.open(hers).text
    assert "This number is known elsewhere" in stan.open(his).text, "nothing changed yet"
    after = choose(odile, hers, "agree")
    assert "verified female" in after.lower()
    assert "2 calls of another record count too" in after
    assert "One call of another record counts too" in stan.open(his).text
    assert "known elsewhere" not in stan.open(his).text
    assert str(alike.newer.pk) not in odile.open(hers).html
    choose(odile, hers, "part")
    assert "is of another snake, they say" in stan.open(his).text
    assert "This number is known elsewhere" in choose(stan, his, "agree")
    assert standing(alike.older).calls_elsewhere == 0


def test_a_no_is_told_and_can_become_a_yes(alike: Two) -> None:
    today(alike)
    propose(alike)
    odile, hers = Browser(alike.world.odile), f"/animals/{alike.older.pk}"
    choose(odile, hers, "refuse")
    page = odile.open(f"{hers}/joining")
    assert "Stan Okoro is right" in page.text
    choose(odile, hers, "agree")
    assert standing(alike.older).calls_elsewhere == 2


def test_over_the_api(alike: Two) -> None:
    today(alike)
    stan, odile = Api(alike.world.stan), Api(alike.world.odile)
    his, hers = (f"/animals/{one.pk}/joinings" for one in (alike.newer, alike.older))
    asked = stan.post(his, {"body": {"code": NUMBER}, "id": str(new_id(alike.world.now))})
    assert asked.status == 201
    (one,) = odile.get(hers).body["joinings"]
    assert (one["id"], one["mine"], one["answer"], one["other"]) == (
        asked.body["id"], False, None, None
    )  # fmt: skip
    said = {"proposal": one["id"], "agrees": True}
    fact = {"body": said, "id": str(new_id(alike.world.now))}
    assert odile.post(f"{hers}/answers", fact).status == 201
    (one,) = stan.get(his).body["joinings"]
    assert (one["mine"], one["answer"], one["in_force"]) == (True, "agrees", True)
    shown = odile.get(f"/animals/{alike.older.pk}").body
    assert shown["standing"]["calls_elsewhere"] == 2
    calls = odile.get(f"/animals/{alike.older.pk}/calls").body["items"]
    assert len(calls) == 1
    weighed = odile.get(f"/animals/{alike.older.pk}/standing").body["weights"]
    assert [one["call"] for one in weighed] == [calls[0]["id"]]
    parting = {"body": {"joining": one["id"]}, "id": str(new_id(alike.world.now))}
    assert odile.post(f"{hers}/partings", parting).status == 201


def test_what_names_the_others_examiners_is_left_out(alike: Two) -> None:
    """Their sessions, and their records that entered the answer; Fenna has one by now."""
    fenna = alike.stans.fenna
    counts = (SettledCounts(method="probing", sex="female", wrong=0, right=9),)
    body = ExaminerRecordChanged(role="keeper", counts=counts, hosts=2)
    batch = Batch(Actor(), alike.world.now)
    store_examiner_record(batch.state("examiner_record_changed", fenna.pk, body))
    batch.flush()
    join(alike)
    today(alike)
    path, odile = f"/animals/{alike.older.pk}", Api(alike.world.odile)
    shown = str(odile.get(f"{path}/standing").body)
    assert "2 calls of another record count too" in shown
    assert str(fenna.pk) not in shown
    assert "Fenna" not in Browser(alike.world.odile).open(path).text
    his = str(Api(alike.world.stan).get(f"/animals/{alike.newer.pk}/standing").body)
    assert str(fenna.pk) in his
    assert str(alike.world.odile.pk) not in his
    supposed = odile.post(f"{path}/what-if", {"method": "probing", "conclusion": "female"})
    assert supposed.status == 200
    assert str(fenna.pk) not in str(supposed.body)


def test_a_record_without_a_call_of_its_own_says_so_and_what_is_elsewhere(two: Two) -> None:
    two.contradict()
    twin = two.world.animal("A3")
    two.give(to=twin)
    answer(two, propose(two, twin))
    today(two)
    page = Browser(two.world.odile).open(f"/animals/{twin.pk}")
    assert page.status == 200
    assert "2 calls of another record count too" in page.text
    assert "probable male" in page.text.lower()


def test_who_sees_both_is_led_from_the_one_to_the_other(alike: Two) -> None:
    join(alike)
    today(alike)
    greta = alike.world.greta
    alike.world.view(greta, alike.older)
    path, other = f"/animals/{alike.older.pk}", f"/animals/{alike.newer.pk}"
    assert other not in Browser(greta).open(path).links
    viewer = {"to": str(greta.pk), "role": "viewer", "animals": [str(alike.newer.pk)]}
    alike.stans.say(alike.world.stan, "grant_given", alike.stans.collection.pk, viewer)
    assert other in Browser(greta).open(path).links
    assert path in Browser(greta).open(other).links


def test_a_buyer_reads_how_many_calls_are_of_another_record(two: Two) -> None:
    twin = two.world.animal("A3")
    two.give(to=twin)
    two.contradict()
    answer(two, propose(two, twin))
    today(two)
    odile = Browser(two.world.odile)
    paper = fetched(odile, f"/animals/{twin.pk}/record.pdf")
    assert "2 calls of another record count too" in " ".join(text_of(paper).split())


def everything(who: Browser, api: Api, paths: list[str]) -> list[str]:
    shown = [who.open(path).text for path in paths]
    return [*shown, *(str(api.get(path).body) for path in paths)]


@pytest.mark.parametrize("to_check", ["older", "newer"])
def test_a_guest_blind_to_either_learns_nothing(alike: Two, to_check: str) -> None:
    """Not by its page, the feed, a count, a letter or what they are refused; nor that it is
    joined."""
    today(alike)
    greta, animal = alike.world.greta, getattr(alike, to_check)
    host = alike.world if to_check == "older" else alike.stans
    host.visit(greta, animal)
    browser, api, path = Browser(greta), Api(greta), f"/animals/{animal.pk}"
    before = everything(browser, api, [path])
    letters = Letter.objects.filter(recipient=greta.pk).count()
    cursor, size = api.get("/changes").body["cursor"], Entry.objects.count()
    join(alike)
    assert Entry.objects.count() == size + 4, "two said it, and two standings followed"
    assert everything(browser, api, [path]) == before
    assert api.get("/changes", cursor=cursor).body["items"] == []
    assert Letter.objects.filter(recipient=greta.pk).count() == letters
    proposal = Joining.objects.get()
    for kind, body in (
        ("joining_proposed", {"code": NUMBER}),
        ("parting_proposed", {"joining": str(proposal.pk)}),
        ("joining_answered", {"proposal": str(proposal.pk), "agrees": True}),
    ):
        with pytest.raises(Refused) as refusal:
            alike.world.say(greta, kind, animal.pk, body)
        assert refusal.value.as_problem()["code"] == "not_found"
    for fact in Entry.objects.filter(kind__startswith="joining").values_list("fact", flat=True):
        assert api.get(f"/receipts/{fact}").status == 404


def test_the_letters_say_what_follows_and_what_to_do(alike: Two) -> None:
    level(alike)
    joining = join(alike)
    body = {"joining": joining.id}
    asked = alike.world.say(alike.world.odile, "parting_proposed", alike.older.pk, body)
    answer(alike, asked, alike.newer)
    texts = {
        (one.kind, one.context["parts"]): " ".join(str(compose(one).body).split())
        for one in Letter.objects.filter(kind__startswith="joining")
    }
    assert (
        "Stan Okoro keeps a record with the same transponder number"
        in texts["joining_proposed", False]
    )
    assert "Agree only if you know it" in texts["joining_proposed", False]
    assert "Odile Marten agrees that this animal of yours" in texts["joining_answered", False]
    assert "ask you to part them" in texts["joining_proposed", True]
    assert "rests on its own calls again" in texts["joining_answered", True]
