"""Of letters about one animal the last that a mail host takes is true, whatever it did before."""

from datetime import datetime, timedelta
from email.header import decode_header, make_header

import pytest
from tests.mail.conftest import restore
from tests.world import World

from scalewitness.letters.since import changed_since
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import replaced_by
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.delivering import LEASE, claim, deliver_due
from scalewitness.mail.services.replacing import SETTLES
from scalewitness.sales.models import Sale
from stack.mailsink import MailSink

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(3)]


def told(sink: MailSink, kind: str = "disclosure") -> list[str]:
    """Subjects of that kind, as they are read."""
    own = [one for one in sink.messages() if one["X-Scalewitness-Letter"] == kind]
    return [str(make_header(decode_header(one["Subject"]))) for one in own]


def disclosures() -> list[Letter]:
    return list(Letter.objects.filter(kind="disclosure").order_by("nth"))


def in_flight(now: datetime) -> None:
    """A worker has the fall's letter, and the mail host does not answer."""
    assert "disclosure" in {one.kind for one in claim(now, 50)}


def test_the_later_letter_waits_while_the_earlier_is_in_flight(
    world: World,
    fallen: Sale,
    sink: MailSink,
) -> None:
    in_flight(world.now)
    world.pass_time(seconds=30)
    restore(world)
    deliver_due(world.now)
    assert told(sink) == []
    assert [one.nth for one in disclosures()] == [1, 2]


def test_one_that_failed_in_flight_goes_inside_the_later(
    world: World,
    fallen: Sale,
    sink: MailSink,
) -> None:
    """Before, it was tried again after the later had left: the last word was the wrong one."""
    in_flight(world.now)
    world.pass_time(seconds=30)
    restore(world)
    first, _ = disclosures()
    Letter.objects.filter(pk=first.pk).update(
        state="waiting", attempts=1, next_try_at=world.now + timedelta(seconds=15)
    )
    deliver_due(world.now)
    assert told(sink) == [], "the host may still be putting the first one away"
    deliver_due(world.now + SETTLES)
    assert [subject.split(": ")[0] for subject in told(sink)] == ["Verified male again"]
    deliver_due(world.now + timedelta(hours=5))
    assert len(told(sink)) == 1
    first, last = disclosures()
    assert (first.state, first.joined_to, last.state) == ("joined", last.pk, "sent")
    text = str(compose(last).body)
    assert "We wrote to you before" not in text
    assert "It tells what an earlier one would have told." in text


def test_so_does_one_whose_worker_died(world: World, fallen: Sale, sink: MailSink) -> None:
    in_flight(world.now)
    world.pass_time(seconds=30)
    restore(world)
    later = world.now + LEASE + timedelta(seconds=1)
    deliver_due(later)
    deliver_due(later + SETTLES)
    assert len(told(sink)) == 1
    assert replaced_by(disclosures()[1]) == [disclosures()[0]]


def test_we_wrote_before_only_where_a_host_took_it(
    world: World,
    fallen: Sale,
    sink: MailSink,
) -> None:
    deliver_due(world.now)
    world.pass_time(days=1)
    restore(world)
    deliver_due(world.now)
    first, last = disclosures()
    assert "We wrote to you before" in str(compose(last).body)
    Letter.objects.filter(pk=first.pk).update(state="failed")
    assert "We wrote to you before" not in str(compose(last).body)


def test_keepers_hear_of_it_in_order_too(world: World, fallen: Sale, sink: MailSink) -> None:
    notices = Letter.objects.filter(kind="standing_notice", recipient=world.odile.pk)
    notices.update(attempts=3, next_try_at=world.now + timedelta(hours=1))  # an outage
    world.pass_time(minutes=5)
    restore(world)
    deliver_due(world.now + SETTLES)
    (subject,) = told(sink, "standing_notice")
    assert subject.startswith("Verified male again: ")
    first, last = notices.order_by("nth")
    assert (first.state, last.state) == ("joined", "sent")
    text = str(compose(last).body)
    assert "It changed more than once before this letter was sent:" in text
    assert "from verified male to contested" in text


def test_a_letter_sent_to_a_new_address_is_judged_anew(
    world: World,
    fallen: Sale,
    sink: MailSink,
) -> None:
    """The fall's letter was refused for good; the next one arrived. Nothing older follows."""
    first = disclosures()[0]
    Letter.objects.filter(pk=first.pk).update(state="failed", attempts=1)
    restore(world)
    deliver_due(world.now)
    Letter.objects.filter(pk=first.pk).update(state="waiting", next_try_at=world.now)
    deliver_due(world.now)
    assert [subject.split(": ")[0] for subject in told(sink)] == ["Verified male again"]


def test_letters_of_a_deal_leave_in_order_and_none_is_left_out(
    world: World,
    sink: MailSink,
) -> None:
    sale = world.draft(world.verified("V1"))
    offer = world.offer(sale)
    letters = Letter.objects.filter(recipient=sale.buyer_id).order_by("nth")
    letters.update(attempts=5, next_try_at=world.now + timedelta(hours=1))
    world.say(world.odile, "offer_withdrawn", sale.pk)
    assert offer.id is not None
    assert [one.kind for one in letters] == ["offer", "offer_withdrawn"]
    deliver_due(world.now)
    kinds = [one["X-Scalewitness-Letter"] for one in sink.messages()]
    assert [kind for kind in kinds if kind.startswith("offer")] == ["offer", "offer_withdrawn"]


def test_a_change_without_a_letter_of_its_own_is_told_in_the_one_that_leaves(
    world: World, fallen: Sale
) -> None:
    letter = disclosures()[0]
    assert changed_since(letter) is None
    said = letter.context | {"now": letter.context["now"] | {"label": "probable male"}}
    letter.context = said
    since = changed_since(letter)
    assert since is not None
    assert since["label"] == "contested"
    assert "it now says\n“contested”." in str(compose(letter).body)
