"""What a new rule changes reaches each reader in one letter, whatever it changes for them."""

import re
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.letters.test_letters_read_well import CONTEXTS, ID, _Page, html_of, poisoned
from tests.world import World

from scalewitness.disclosures.models import Disclosure
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake import reassessing
from scalewitness.intake.statements import adopt_policy
from scalewitness.letters import new_rule
from scalewitness.letters.chasing import chase
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import COVER, inside, letters_for
from scalewitness.mail.services.composing import INSIDE, compose
from scalewitness.mail.services.delivering import claim
from scalewitness.sales.models import Sale

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]

STRICT = {"verified": "0.999990"}


@pytest.fixture
def bought(world: World) -> Sale:
    """Two verified animals in one sale, paid for."""
    sale = world.draft(world.verified("V1"), world.verified("V2"))
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    world.confirm(sale, offer.id, offer.position)
    world.say(world.odile, "payment_recorded", sale.pk)
    Letter.objects.all().delete()
    return sale


def waiting() -> dict[UUID, Letter]:
    return {one.recipient: one for one in Letter.objects.filter(state="waiting")}


def test_each_reader_gets_one_letter_about_all_animals(world: World, bought: Sale) -> None:
    adopt_policy("policy-strict", "sexing-1", STRICT, world.now)
    letters = waiting()
    assert {one.kind for one in letters.values()} == {COVER}
    assert set(letters) == {bought.buyer_id, world.odile.pk}
    assert all(one.next_try_at == world.now for one in letters.values()), "nothing more to tell"
    to_buyer = str(compose(letters[bought.buyer_id]).body)
    assert to_buyer.count("AN ANIMAL YOU BOUGHT: ") == 2
    assert "Nothing new was seen of any animal below, and no call changed." in to_buyer
    assert compose(letters[bought.buyer_id]).subject == (
        "The record has a new rule: what it changes for you (2 animals)"
    )
    to_seller = str(compose(letters[world.odile.pk]).body)
    assert to_seller.count("AN ANIMAL IN YOUR CARE") == 2
    assert Disclosure.objects.count() == 2


def test_a_disclosure_in_it_fares_as_it_does(world: World, bought: Sale) -> None:
    adopt_policy("policy-strict", "sexing-1", STRICT, world.now)
    owed = Disclosure.objects.all()
    cover = waiting()[bought.buyer_id]
    (carried,) = letters_for([owed[0].pk])[owed[0].pk]
    assert (carried.state, carried.to) == ("waiting", cover.to)
    Letter.objects.filter(pk=cover.pk).update(state="returned")
    assert chase(world.now) == 2
    told = Letter.objects.filter(kind="disclosure_undelivered", recipient=world.odile.pk)
    assert {one.context["disclosure"] for one in told} == {str(one.pk) for one in owed}
    Letter.objects.filter(pk=cover.pk).update(state="sent", sent_at=world.now - timedelta(days=14))
    chase(world.now)
    reminders = Letter.objects.filter(kind="disclosure_reminder", recipient=bought.buyer_id)
    links = {one.context["link"] for one in inside(cover)}
    assert {one.context["link"] for one in reminders} == links
    assert len(links) == 2


def test_what_comes_after_a_stop_is_in_one_letter_too(
    world: World, bought: Sale, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first animal's letters wait for the second's; nothing leaves while there is more to
    tell, and all of it does in an hour, whatever becomes of the rest."""
    monkeypatch.setattr(reassessing, "READ_TOGETHER", 1)
    whole, let_go = reassessing.each_in_turns, reassessing.let_go
    done: list[Any] = []

    def once(some: Any, *more: Any) -> Any:
        if done:
            raise KeyboardInterrupt
        done.append(some)
        return whole(some, *more)

    monkeypatch.setattr(reassessing, "each_in_turns", once)
    with pytest.raises(KeyboardInterrupt):
        adopt_policy("policy-strict", "sexing-1", STRICT, world.now)
    assert Disclosure.objects.count() == 1
    assert claim(world.now, 20) == []
    assert waiting()[bought.buyer_id].next_try_at == world.now + new_rule.LEAVES_AFTER
    monkeypatch.setattr(reassessing, "each_in_turns", whole)
    monkeypatch.setattr(reassessing, "let_go", let_go)
    adopt_policy("policy-strict", "sexing-1", STRICT, world.now)
    assert len(inside(waiting()[bought.buyer_id])) == 2
    assert {one.recipient for one in claim(world.now, 20)} == {bought.buyer_id, world.odile.pk}


def test_what_was_sent_is_not_added_to(
    world: World, bought: Sale, monkeypatch: pytest.MonkeyPatch
) -> None:
    adopt_policy("policy-strict", "sexing-1", STRICT, world.now)
    first = waiting()[bought.buyer_id]
    Letter.objects.filter(kind=COVER).update(state="sent", sent_at=world.now)
    adopt_policy("policy-mild", "sexing-1", {"verified": "0.900000"}, world.now)
    again = waiting()[bought.buyer_id]
    assert again.pk != first.pk
    assert {one.context["change"] for one in inside(again)} == {"restored"}
    assert "It is verified again as you were told" in str(compose(again).body)


def test_two_rules_in_a_row_are_told_in_the_order_they_came(world: World, bought: Sale) -> None:
    """The first letter had not left: what it says is in the second, and it goes nowhere."""
    adopt_policy("policy-strict", "sexing-1", STRICT, world.now)
    adopt_policy("policy-mild", "sexing-1", {"verified": "0.900000"}, world.now)
    only = Letter.objects.get(kind=COVER, recipient=bought.buyer_id, state="waiting")
    text = str(compose(only).body)
    assert text.count("AN ANIMAL YOU BOUGHT: ") == 2
    assert text.count("the verified sex no longer stood") == 2
    assert text.count("the verified sex stood again") == 2


def everything(contexts: dict[str, dict[str, Any]], world: World) -> Letter:
    """A letter that brings one of every kind that goes inside it."""
    cover = Letter(
        id=UUID(ID),
        kind=COVER,
        cause=UUID(ID),
        recipient=world.odile.pk,
        to="somebody@people.example",
        context=contexts[COVER],
        message_id="<cover@testserver>",
        created_at=world.now,
        next_try_at=world.now,
    )
    cover.save()
    for kind in INSIDE:
        id = fresh_id(world.now)
        Letter.objects.create(
            id=id,
            kind=kind,
            cause=id,
            recipient=world.odile.pk,
            to=cover.to,
            context=contexts[kind],
            message_id=f"<{id}@testserver>",
            created_at=world.now,
            next_try_at=world.now,
            state="joined",
            joined_to=cover.pk,
        )
    return cover


def test_both_parts_tell_everything_and_lead_to_the_same_places(world: World) -> None:
    message = compose(everything(CONTEXTS, world))
    text, page = str(message.body), _Page(html_of(message))
    in_html = {one for one in page.addresses if one.startswith("http")}
    assert set(re.findall(r"https?://\S+", text)) == in_html
    for part in (text, page.text):
        whole = " ".join(part.split()).lower()
        for heading in (
            "an animal you bought",
            "an animal you were offered",
            "an animal you have offered",
            "a dispute is open",
            "an animal in your care",
            "an animal in a planned pairing",
        ):
            assert heading in whole
        for left in ("{{", "{%", "None", "\n\n\n\n"):
            assert left not in part


def test_hostile_names_break_neither_part(world: World) -> None:
    message = compose(everything(poisoned(CONTEXTS), world))
    assert message.message()["Bcc"] is None
    lines = str(message.body).splitlines()
    assert not any(one.strip().startswith(("Bcc:", "Pay now")) for one in lines)
    page = _Page(html_of(message))
    assert "script" not in page.tags
    assert "&amp;lt;" not in html_of(message), "escaped twice"
