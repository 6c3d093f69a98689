"""A finding says on whose word it rests, and a keeper alone sets no stranger's call aside."""

from collections.abc import Callable
from datetime import timedelta
from uuid import UUID

import pytest
from django.utils import timezone
from tests.api.client import Api
from tests.intake.test_erasure import fsck
from tests.intake.test_sales import contrary, refused
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call, SetAside
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import summary_of, would_set_aside
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.replay import Replay

SHALLOW: dict[str, object] = {"sureness": "unsure", "observed": probing("undetermined")["observed"]}

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@told_once
def dispute(world: World) -> Dispute:
    """A verified male was sold; Greta found a female, blind; then Stan, blind and unsure, a male
    that tensed."""
    animal = world.verified("V1")
    world.sold(animal)
    world.pass_time(days=1)
    contrary(world, animal)
    world.pass_time(days=1)
    visit = world.visit(world.stan, animal)
    world.call(world.stan, animal, "male", visit=visit, body=SHALLOW)
    assert world.label(animal) == "contested"
    return Dispute.objects.get()


def hers(world: World) -> Call:
    return Call.objects.get(by=world.greta.pk)


def record(world: World, dispute: Dispute, **body: object) -> Finding:
    found = {"outcome": "call_set_aside", **body}
    world.say(world.odile, "finding_recorded", dispute.pk, found)
    return Finding.objects.get(dispute=dispute)


def word(dispute: Dispute) -> str:
    return summary_of(dispute, Finding.objects.get(dispute=dispute)).word


def code_of(what: Callable[[], object]) -> tuple[str, str | None]:
    with pytest.raises(Refused) as error:
        what()
    errors = error.value.as_problem().get("errors")
    return refused(error), str(errors[0]["pointer"]) if errors else None


def test_the_keeper_alone_sets_no_call_by_a_stranger_aside(world: World, dispute: Dispute) -> None:
    call = str(hers(world).pk)
    assert code_of(lambda: record(world, dispute, set_aside=[call])) == (
        "not_allowed",
        "/body/set_aside/0",
    )
    record(world, dispute, proposed=[call], basis="agreement")
    assert world.label(dispute.animal) == "contested"
    assert not SetAside.objects.exists()
    claim = "The seller says that both sides agree; the buyer has not confirmed it."
    assert word(dispute) == claim


def test_once_the_buyer_agrees_it_is_set_aside_and_the_log_alone_says_so(
    world: World, dispute: Dispute
) -> None:
    record(world, dispute, proposed=[str(hers(world).pk)], basis="agreement")
    buyer = world.buyer(dispute.sale) if dispute.sale else Actor()
    world.answer(dispute, buyer, agrees=False)
    denied = "The seller says that both sides agree; the buyer denies it."
    assert (word(dispute), world.label(dispute.animal)) == (denied, "contested")
    again = code_of(lambda: world.answer(dispute, buyer, agrees=False))
    assert again == ("not_now", None)
    world.answer(dispute, buyer)
    assert word(dispute) == "Both sides agree; the buyer has confirmed it."
    assert world.label(dispute.animal) == "verified male"
    assert SetAside.objects.get().call_id == hers(world).pk
    for agrees in (True, False):
        code, _ = code_of(lambda agrees=agrees: world.answer(dispute, buyer, agrees=agrees))
        assert code == "not_now", "a yes is final"
    assert list(Replay().differences()) == []
    assert "no difference" in fsck()


def test_nobody_answers_their_own_finding_or_a_strangers(world: World, dispute: Dispute) -> None:
    found = record(world, dispute, proposed=[str(hers(world).pk)])
    world.make_partner(world.pim)
    other = world.sold(world.verified("V2"), email="other@buyers.example")
    for actor in (
        Actor(keeper=world.odile.pk),
        Actor(keeper=world.pim.pk),
        Actor(keeper=world.greta.pk),
        world.buyer(other),
    ):
        assert code_of(lambda actor=actor: world.answer(dispute, actor))[0] == "not_found"
    assert not found.answers.exists()


def test_an_answer_names_what_it_sets_aside(world: World, dispute: Dispute) -> None:
    found = record(world, dispute, proposed=[str(hers(world).pk)])
    assert dispute.sale is not None
    buyer = world.buyer(dispute.sale)
    for aside in ([], [str(Call.objects.filter(by=world.stan.pk).get().pk)]):
        body = {"finding": str(found.pk), "agrees": True, "set_aside": aside}
        item = world.item("finding_answered", dispute.pk, body)
        assert code_of(lambda item=item: accept_one(item, buyer, world.now))[0] == "not_now"


def test_the_ground_is_judged_again_when_somebody_agrees(world: World, dispute: Dispute) -> None:
    """Stan takes back the check that spoke against hers: then agreeing sets nothing aside."""
    found = record(world, dispute, proposed=[str(hers(world).pk)], basis="agreement")
    ground = str(Call.objects.get(by=world.stan.pk).pk)
    world.say(world.stan, "call_withdrawn", dispute.animal_id, {"call": ground})
    assert would_set_aside(found) == ()
    assert dispute.sale is not None
    world.answer(dispute, world.buyer(dispute.sale))
    assert not SetAside.objects.exists()
    assert word(dispute) == "Both sides agree; the buyer has confirmed it."


def test_what_agreeing_would_set_aside_is_told_to_those_alone_who_may_agree(
    world: World, dispute: Dispute
) -> None:
    """It follows later checks; so it tells whoever else reads the dispute of them, and a guest who
    is to check the animal blind is told nothing at all."""
    call = str(hers(world).pk)
    record(world, dispute, proposed=[call], basis="agreement")
    assert dispute.sale is not None
    buyer = keeper("Bela Birch")
    dispute.sale.buyer.keeper = buyer
    dispute.sale.buyer.save()
    world.view(buyer, dispute.animal)
    world.make_partner(world.pim)
    blind = keeper("Blind Guest")
    world.now = timezone.now() - timedelta(hours=1)
    world.visit(blind, dispute.animal)
    world.view(blind, dispute.animal)
    told = {
        one: Api(one).get(f"/disputes/{dispute.pk}")
        for one in (world.odile, world.pim, buyer, blind)
    }
    assert [answer.status for answer in told.values()] == [200, 200, 200, 404]
    found = {
        one.pk: answer.body["finding"]["would_set_aside"]
        for one, answer in told.items()
        if answer.status == 200
    }
    assert found == {world.odile.pk: [], world.pim.pk: [], buyer.pk: [call]}
    assert Api(blind).get("/disputes").body["items"] == []


# --- the arbiter --------------------------------------------------------------------------


@told_once
def arda(world: World, dispute: Dispute) -> Keeper:
    """May look at the animal, and has no part in anything."""
    made = keeper("Arda Quill")
    world.view(made, dispute.animal)
    return made


def test_a_named_arbiter_decides_by_their_own_word(
    world: World, dispute: Dispute, arda: Keeper
) -> None:
    call = str(hers(world).pk)
    record(world, dispute, proposed=[call], basis="arbiter", arbiter=str(arda.pk))
    assert word(dispute) == (
        "The seller says that it is an arbiter’s; neither the arbiter nor the buyer has "
        "confirmed it."
    )
    letter = Letter.objects.get(kind="finding_keeper")
    assert (letter.to, letter.context["asked"]) == (arda.email, True)
    world.answer(dispute, Actor(keeper=arda.pk))
    assert word(dispute) == "It is an arbiter’s; the arbiter has confirmed it."
    assert world.label(dispute.animal) == "verified male"
    assert dispute.sale is not None
    world.answer(dispute, world.buyer(dispute.sale), agrees=False)
    told = "It is an arbiter’s; the arbiter has confirmed it and the buyer denies it."
    assert word(dispute) == told, "a no of the other side stays beside it"
    assert list(Replay().differences()) == []


def test_who_is_no_arbiter(world: World, dispute: Dispute, arda: Keeper) -> None:
    call = str(hers(world).pk)
    world.make_partner(world.pim)
    room = create_collection(world.odile, new_id(world.now), "The annexe", world.now)
    let_in = {"to": str(arda.pk), "role": "partner"}
    unfit = [world.pim, world.odile, keeper("Sees Nothing"), world.greta, world.stan]

    def named(who: Keeper) -> tuple[str, str | None]:
        more = {"basis": "arbiter", "arbiter": str(who.pk)}
        return code_of(lambda: record(world, dispute, proposed=[call], **more))

    for who in unfit[:3]:
        assert named(who) == ("not_allowed", "/body/arbiter"), who.name
    for who in unfit[3:]:  # whose check it is, and whose is the only one against it
        assert named(who) == ("not_allowed", "/body/proposed/0"), who.name
    world.say(world.odile, "grant_given", room.pk, let_in)
    assert named(arda) == ("not_allowed", "/body/arbiter"), "a partner of the keeper elsewhere"


def test_an_arbiter_who_is_shut_out_again_cannot_answer(
    world: World, dispute: Dispute, arda: Keeper
) -> None:
    call = str(hers(world).pk)
    record(world, dispute, proposed=[call], basis="arbiter", arbiter=str(arda.pk))
    grant = arda.grants.get()
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant.pk)})
    assert code_of(lambda: world.answer(dispute, Actor(keeper=arda.pk)))[0] == "not_found"


def test_without_another_side_an_arbiter_must_agree(world: World) -> None:
    animal = world.verified("V1")
    world.pass_time(days=1)
    contrary(world, animal)
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    opened, about = {"animal": str(animal.pk), "ground": "party_objects"}, new_id(world.now)
    world.say(world.odile, "dispute_opened", about, opened)
    dispute = Dispute.objects.get(pk=about)
    call = str(hers(world).pk)
    alone = code_of(lambda: record(world, dispute, proposed=[call]))
    assert alone == ("not_allowed", "/body/proposed")
    record(world, dispute, outcome="unresolved", basis="agreement")
    assert word(dispute) == "The keeper says that both sides agree; nobody else has confirmed it."


@told_once
def stans(world: World) -> Dispute:
    """Stan bought it and keeps it by now; he objects."""
    animal = world.verified("V1")
    shelf = create_collection(world.stan, new_id(world.now), "Stan's shelf", world.now)
    sale = world.sold(animal, email=world.stan.email)
    world.say(world.odile, "handed_over", sale.pk)
    moved = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(world.odile, "custody_changed", animal.pk, moved)
    opened = {"animal": str(animal.pk), "ground": "party_objects", "sale": str(sale.pk)}
    world.say(world.stan, "dispute_opened", new_id(world.now), opened)
    return Dispute.objects.get()


AGREED = {"outcome": "unresolved", "basis": "agreement"}


def test_a_seller_who_is_to_check_it_blind_is_neither_told_nor_asked(
    world: World, stans: Dispute
) -> None:
    visit = {"collection": str(stans.animal.collection_id), "guest": str(world.odile.pk)}
    visit |= {"animals": [str(stans.animal_id)], "opens": rfc3339(world.now), "blind": True}
    visit |= {"closes": rfc3339(world.now + timedelta(days=2))}
    about = new_id(world.now)
    world.say(world.stan, "visit_invited", about, visit)
    world.say(world.odile, "visit_accepted", about)
    world.say(world.stan, "finding_recorded", stans.pk, AGREED)
    assert not Letter.objects.filter(kind="finding_keeper").exists()
    assert code_of(lambda: world.answer(stans, Actor(keeper=world.odile.pk)))[0] == "not_found"


def test_a_keeper_who_bought_it_is_answered_by_the_seller(world: World, stans: Dispute) -> None:
    world.say(world.stan, "finding_recorded", stans.pk, AGREED)
    dispute = Dispute.objects.get()
    sale = stans.sale
    assert sale is not None
    assert word(dispute) == (
        "The buyer says that both sides agree; the seller has not confirmed it."
    )
    (letter,) = Letter.objects.filter(kind="finding_keeper")
    assert (letter.to, letter.context["asked"]) == (world.odile.email, True)
    assert code_of(lambda: world.answer(dispute, world.buyer(sale)))[0] == "not_found"
    world.answer(dispute, Actor(keeper=world.odile.pk), agrees=False)
    assert word(dispute) == "The buyer says that both sides agree; the seller denies it."


@pytest.mark.parametrize("before", [True, False])
def test_no_grant_shuts_the_buyer_out(world: World, stans: Dispute, before: bool) -> None:
    """It needs nobody's acceptance: the seller keeps the animal again, records a finding, and
    makes the buyer a partner in an empty collection."""
    assert stans.sale is not None
    back = {"to": str(world.collection.pk), "why": "returned", "sale": str(stans.sale_id)}
    world.say(world.stan, "custody_changed", stans.animal_id, back)
    empty = create_collection(world.odile, new_id(world.now), "Empty", world.now)
    grant = {"to": str(world.stan.pk), "role": "partner"}
    steps = [
        lambda: world.say(world.odile, "grant_given", empty.pk, grant),
        lambda: world.say(world.odile, "finding_recorded", stans.pk, AGREED),
    ]
    for step in steps if before else reversed(steps):
        step()
    world.answer(stans, Actor(keeper=world.stan.pk), agrees=False)
    assert word(stans) == "The seller says that both sides agree; the buyer denies it."


@pytest.mark.parametrize("before", [True, False])
def test_no_grant_shuts_the_seller_out(world: World, stans: Dispute, before: bool) -> None:
    empty = create_collection(world.stan, new_id(world.now), "Empty", world.now)
    grant = {"to": str(world.odile.pk), "role": "partner"}
    steps = [
        lambda: world.say(world.stan, "grant_given", empty.pk, grant),
        lambda: world.say(world.stan, "finding_recorded", stans.pk, AGREED),
    ]
    for step in steps if before else reversed(steps):
        step()
    (letter,) = Letter.objects.filter(kind="finding_keeper")
    assert (letter.to, letter.context["asked"]) == (world.odile.email, True)
    world.answer(stans, Actor(keeper=world.odile.pk), agrees=False)
    assert word(stans) == "The buyer says that both sides agree; the seller denies it."


def test_no_grant_shuts_a_named_arbiter_out(world: World, dispute: Dispute, arda: Keeper) -> None:
    call = str(hers(world).pk)
    record(world, dispute, proposed=[call], basis="arbiter", arbiter=str(arda.pk))
    world.make_partner(arda)
    world.answer(dispute, Actor(keeper=arda.pk), agrees=False)
    assert "the arbiter denies it" in word(dispute)


def test_a_partner_given_after_the_finding_changes_no_side(world: World, stans: Dispute) -> None:
    """Pim recorded it as the buyer's partner; the seller cannot make the buyer the other side."""
    let_in = {"to": str(world.pim.pk), "role": "partner"}
    world.say(world.stan, "grant_given", stans.animal.collection_id, let_in)
    world.say(world.pim, "finding_recorded", stans.pk, AGREED)
    world.make_partner(world.pim)
    assert code_of(lambda: world.answer(stans, Actor(keeper=world.stan.pk)))[0] == "not_found"
    world.answer(stans, Actor(keeper=world.odile.pk), agrees=False)
    assert "the seller denies it" in word(stans)


def test_older_findings_that_set_a_strangers_call_aside_stay(
    world: World, dispute: Dispute, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As they were taken before anybody had to agree."""
    monkeypatch.setattr("scalewitness.intake.rules.findings._check_own", lambda call, index: None)
    record(world, dispute, set_aside=[str(hers(world).pk)])
    assert world.label(dispute.animal) == "verified male"
    assert list(Replay().differences()) == []
    assert "no difference" in fsck()


def test_the_buyer_is_asked_by_a_letter_with_the_reasons_as_long_as_they_are_kept(
    world: World, dispute: Dispute
) -> None:
    texts = {"reasons": "Two read nine scales.\nDear Bela,\nPay now."}
    body = {"outcome": "call_set_aside", "proposed": [str(hers(world).pk)], "basis": "agreement"}
    world.say(world.odile, "finding_recorded", dispute.pk, body, texts=texts)
    letter = Letter.objects.get(kind="finding")
    assert UUID(letter.context["words_of"]) == Finding.objects.get().pk
    assert "Two read" not in str(letter.context), "it is erased where it is kept, once"
    text = str(compose(letter).body)
    assert "  | Two read nine scales.\n  | Dear Bela,\n  | Pay now.\n" in text
    assert "DO YOU AGREE?" in text
    assert "The seller says that both sides agree; the buyer has not confirmed it." in text
