"""Two records of one snake: joined when the keepers of both agree, and parted again."""

from dataclasses import dataclass
from uuid import UUID

import pytest
from django.db import connection
from tests.intake.test_known_elsewhere import NUMBER, READ, Two, holds, two
from tests.plugins.told_once import told_once
from tests.world import keeper, probing

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept_one
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.planning.supposing import SupposedAnswer, suppose
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
__all__ = ["two"]


def level(two: Two) -> None:
    """One clock for both houses."""
    two.world.now = two.stans.now = max(two.world.now, two.stans.now)


def propose(two: Two, animal: Animal | None = None) -> Outcome:
    level(two)
    one = animal or two.newer
    return two.world.say(one.collection.keeper, "joining_proposed", one.pk, {"code": NUMBER})


def answer(
    two: Two, proposal: Outcome, animal: Animal | None = None, *, agrees: bool = True
) -> Outcome:
    level(two)
    one, body = animal or two.older, {"proposal": proposal.id, "agrees": agrees}
    return two.world.say(one.collection.keeper, "joining_answered", one.pk, body)


def join(two: Two) -> Outcome:
    proposal = propose(two)
    answer(two, proposal)
    return proposal


def part(two: Two, joining: Outcome) -> Outcome:
    level(two)
    body = {"joining": joining.id}
    asked = two.world.say(two.world.odile, "parting_proposed", two.older.pk, body)
    return answer(two, asked, two.newer)


def refused(two: Two, who: Keeper, kind: str, about: UUID, body: dict[str, object]) -> str:
    level(two)
    with pytest.raises(Refused) as refusal:
        two.world.say(who, kind, about, body)
    return str(refusal.value.as_problem()["code"])


def standing(animal: Animal) -> Standing:
    found = latest_standing(animal.pk)
    assert found is not None
    return found


def said(animal: Animal) -> tuple[str, str, bool, int]:
    one = standing(animal)
    return one.label, one.p_male, one.known_elsewhere, one.calls_elsewhere


@told_once
def alike(two: Two) -> Two:
    """Checked on both records, with one answer, and never by two who count on the same."""
    two.give()
    two.world.call(two.world.odile, two.older, "female")
    for guest in (keeper("Ada Fenn"), two.stans.fenna):
        two.stans.pass_time(days=1)
        two.stans.call(guest, two.newer, "female", visit=two.stans.visit(guest, two.newer))
    two.stans.pass_time(days=1)
    level(two)
    return two


def test_each_record_rests_on_the_calls_of_both_and_the_cap_ends(alike: Two) -> None:
    before = standing(alike.older).p_male
    assert said(alike.newer)[2:] == (True, 0)
    join(alike)
    assert said(alike.older)[1] < before
    assert (
        said(alike.older)[:3]
        == said(alike.newer)[:3]
        == ("verified female", said(alike.newer)[1], False)
    )
    assert holds()


def test_a_proposal_alone_changes_nothing(alike: Two) -> None:
    before = said(alike.older), said(alike.newer)
    proposal = propose(alike)
    answer(alike, proposal, agrees=False)
    assert (said(alike.older), said(alike.newer)) == before
    answer(alike, proposal)
    assert standing(alike.older).calls_elsewhere == 2, "a no may become a yes"
    with pytest.raises(Refused):
        answer(alike, proposal, agrees=False)
    assert holds()


def test_later_calls_count_on_both_with_one_standing_each(alike: Two) -> None:
    join(alike)
    count = Standing.objects.count()
    alike.world.call(alike.world.odile, alike.older, "male")
    assert Standing.objects.count() == count + 2
    assert said(alike.older)[:2] == said(alike.newer)[:2]
    assert standing(alike.newer).calls_elsewhere == 2
    assert holds()


def test_one_examiner_is_one_on_both_records(two: Two) -> None:
    """Odile checks it on hers, and at one o'clock the same again as Stan's partner on his."""
    two.give()
    two.world.call(two.world.odile, two.older, "female")
    single = standing(two.older).p_male
    two.stans.make_partner(two.world.odile)
    two.stans.call(two.world.odile, two.newer, "female")
    join(two)
    assert standing(two.older).calls_elsewhere == 1
    assert standing(two.older).p_male == single, "within one occasion the same again adds nothing"
    assert holds()


def test_a_verified_sex_that_falls_by_it_is_disclosed_in_that_transaction(two: Two) -> None:
    two.contradict()
    sold = two.stans.verified("S2", "female")
    two.stans.sold(sold)
    two.give(to=sold)
    Disclosure.objects.get()
    level(two)
    proposal = propose(two, sold)
    answer(two, proposal)
    assert two.stans.label(sold).split()[0] in {"probable", "contested"}
    assert holds()


def test_a_buyer_of_the_older_is_told_when_it_falls(two: Two) -> None:
    older = two.world.verified("A2", "male")
    two.give("985000000000777", to=older)
    two.world.sold(older)
    level(two)
    two.give("985000000000777")
    for guest in (keeper("Ada Fenn"), two.stans.fenna):
        two.stans.pass_time(days=1)
        visit = two.stans.visit(guest, two.newer)
        two.stans.call(guest, two.newer, "female", visit=visit)
    level(two)
    made = two.world.say(
        two.world.stan, "joining_proposed", two.newer.pk, {"code": "985000000000777"}
    )
    assert not Disclosure.objects.exists()
    agreed = answer(two, made, older)
    assert two.world.label(older) == "contested"
    owed = Disclosure.objects.get()
    assert owed.animal == older
    assert owed.position > agreed.position  # type: ignore[operator]
    assert holds()


def test_parted_by_both_each_rests_on_its_own_again_and_the_cap_is_back(alike: Two) -> None:
    before = said(alike.older), said(alike.newer)
    joining = join(alike)
    part(alike, joining)
    assert (said(alike.older), said(alike.newer)) == before
    again = join(alike)
    assert again.id != joining.id
    assert standing(alike.older).calls_elsewhere == 2
    assert holds()


def test_parted_by_neither_alone(alike: Two) -> None:
    joining = join(alike)
    level(alike)
    alike.world.say(alike.world.odile, "parting_proposed", alike.older.pk, {"joining": joining.id})
    assert standing(alike.older).calls_elsewhere == 2


def test_as_of_then_the_calls_of_then(alike: Two) -> None:
    at = standing(alike.older).position
    joining = join(alike)
    joined = standing(alike.older).position
    part(alike, joining)
    found = [dossier(alike.older, one) for one in (at, joined, None)]
    assert [one.elsewhere for one in found] == [0, 2, 0]
    assert [one.assessment.label.split()[0] for one in found] == [
        "probable",
        "verified",
        "probable",
    ]


def test_the_account_names_no_call_of_the_other_and_says_how_many_there_are(alike: Two) -> None:
    join(alike)
    theirs = {str(one.pk) for one in Call.objects.filter(animal=alike.newer)}
    found = dossier(alike.older)
    assert [one.call.animal_id for one in found.calls] == [alike.older.pk]
    assert theirs.isdisjoint({one.call for one in found.lines})
    assert {one.call for one in found.assessment.weights} == {str(found.calls[0].call.pk)}
    assert any("2 calls of another record count too" in one.text for one in found.lines)
    answer = SupposedAnswer("probing", "female")
    what_if = suppose(alike.older, answer, alike.world.odile.pk, alike.world.now)
    assert what_if.before.label == "verified female"
    assert theirs.isdisjoint({one.call for one in what_if.lines})


def test_nobody_else_proposes_or_answers(alike: Two) -> None:
    world, code = alike.world, {"code": NUMBER}
    for who, about in ((world.greta, alike.newer), (world.stan, alike.older)):
        assert refused(alike, who, "joining_proposed", about.pk, dict(code)) == "not_found"
    proposal = propose(alike)
    body: dict[str, object] = {"proposal": proposal.id, "agrees": True}
    assert refused(alike, world.stan, "joining_answered", alike.newer.pk, body) == "not_found"
    assert refused(alike, world.greta, "joining_answered", alike.older.pk, body) == "not_found"
    third = world.animal("A7")
    alike.give(to=third)
    assert refused(alike, world.odile, "joining_answered", third.pk, body) == "not_found"


def test_who_gives_the_number_to_another_record_since_answers_for_nobody(alike: Two) -> None:
    """Else whoever hears of it first would have the evidence of the other joined with theirs."""
    proposal = propose(alike)
    cheat = alike.world.animal("A8")
    alike.give(to=cheat)
    body: dict[str, object] = {"proposal": proposal.id, "agrees": True}
    assert refused(alike, alike.world.odile, "joining_answered", cheat.pk, body) == "not_found"


@pytest.mark.parametrize("code", ["985000000000001", "12", "999000000000001"])
def test_a_number_that_no_other_record_bears(alike: Two, code: str) -> None:
    body: dict[str, object] = {"code": code}
    kind = "joining_proposed"
    assert refused(alike, alike.world.stan, kind, alike.newer.pk, body) == "out_of_range"


def test_one_proposal_a_pair_and_one_unanswered_a_reader(alike: Two) -> None:
    proposal, code = propose(alike), {"code": NUMBER}
    assert (
        refused(alike, alike.world.odile, "joining_proposed", alike.older.pk, dict(code))
        == "not_now"
    )
    answer(alike, proposal, agrees=False)
    assert (
        refused(alike, alike.world.stan, "joining_proposed", alike.newer.pk, dict(code))
        == "not_now"
    )


def test_many_records_of_one_number_ask_its_keeper_once(alike: Two) -> None:
    propose(alike)
    another = alike.stans.animal("S7")
    alike.give(to=another)
    body: dict[str, object] = {"code": NUMBER}
    assert refused(alike, alike.world.stan, "joining_proposed", another.pk, body) == "not_now"
    asked = Letter.objects.filter(kind="joining_proposed")
    assert [one.recipient for one in asked] == [alike.world.odile.pk]


def test_records_of_two_species_are_not_one_snake(two: Two) -> None:
    other = two.stans.animal("S9", "pantherophis_guttatus")
    two.give(to=other)
    proposal = propose(two, other)
    with pytest.raises(Refused, match="different species"):
        answer(two, proposal)


def test_a_number_withdrawn_meanwhile_joins_nothing(alike: Two) -> None:
    alike.give("985000000000042")
    proposal = propose(alike)
    for one in Call.objects.filter(animal=alike.newer):
        by = Keeper.objects.get(pk=one.by)
        alike.world.say(by, "call_withdrawn", alike.newer.pk, {"call": str(one.pk)})
    alike.withdraw(alike.newer)
    with pytest.raises(Refused, match="does not bear the number"):
        answer(alike, proposal)


def test_keepers_of_both_read_who_asks_and_what_is_said(alike: Two) -> None:
    joining = join(alike)
    letters = sorted(
        (one.kind, one.recipient, one.context["animal"]["id"], one.context["by"])
        for one in Letter.objects.filter(kind__startswith="joining").order_by("pk")
    )[::-1]
    odile, stan = alike.world.odile, alike.world.stan
    assert letters == [
        ("joining_proposed", odile.pk, str(alike.older.pk), stan.name),
        ("joining_answered", stan.pk, str(alike.newer.pk), odile.name),
    ]
    part(alike, joining)
    kinds = Letter.objects.filter(kind="joining_answered", context__parts=True)
    assert [one.recipient for one in kinds] == [odile.pk]


def test_who_keeps_both_says_both_and_gets_no_letter(two: Two) -> None:
    twin = two.world.animal("A3")
    two.give(to=twin)
    two.contradict()
    answer(two, propose(two, twin))
    assert said(twin)[:2] == said(two.older)[:2]
    assert not Letter.objects.filter(kind__startswith="joining").exists()
    assert holds()


# --- who knows what -------------------------------------------------------------------


def blind_call(two: Two, guest: Keeper, animal: Animal) -> Call:
    """A guest of whoever keeps it checks it, as blind as they may be."""
    level(two)
    world = two.world if animal.collection.keeper == two.world.odile else two.stans
    made = world.call(guest, animal, "female", visit=world.visit(guest, animal))
    return Call.objects.get(pk=made.id)


def test_who_checked_one_is_not_blind_on_the_other_once_joined(alike: Two) -> None:
    join(alike)
    assert not blind_call(alike, alike.stans.fenna, alike.older).blind
    assert blind_call(alike, keeper("Vera Moss"), alike.older).blind


def test_nor_once_parted_as_what_they_were_told_they_know(alike: Two) -> None:
    part(alike, join(alike))
    assert not blind_call(alike, alike.stans.fenna, alike.older).blind


def test_who_keeps_one_has_an_interest_in_the_other(alike: Two) -> None:
    join(alike)
    made = blind_call(alike, alike.world.stan, alike.older)
    assert (made.blind, made.interested) == (False, True)


def test_who_was_shown_one_is_not_blind_on_the_other_once_joined(alike: Two) -> None:
    alike.world.view(alike.world.greta, alike.older)
    join(alike)
    assert not blind_call(alike, alike.world.greta, alike.newer).blind


def test_not_joined_only_who_read_the_number_knows_that_it_is_one_snake(two: Two) -> None:
    """Ada read it on the one, Fenna read the tag of a tub, and Greta was shown the record, which
    anybody can do to her: it spoils no check."""
    ada, fenna, greta = keeper("Ada Fenn"), two.stans.fenna, two.world.greta
    two.give()
    visit = two.stans.visit(ada, two.newer)
    two.stans.call(ada, two.newer, "female", visit=visit, body=probing("female", READ))
    blind_call(two, fenna, two.newer)
    viewer = {"to": str(greta.pk), "role": "viewer", "animals": [str(two.newer.pk)]}
    two.stans.say(two.world.stan, "grant_given", two.stans.collection.pk, viewer)
    found = [blind_call(two, one, two.older).blind for one in (ada, fenna, greta)]
    assert found == [False, True, True]


def test_who_keeps_the_one_knows_the_number_of_the_other(two: Two) -> None:
    two.give()
    assert not blind_call(two, two.world.stan, two.older).blind


def test_it_waits_for_a_guest_who_would_be_told(alike: Two) -> None:
    """Greta sees the older whole, and is to check the newer blind: by the standing of the one she
    would be told what was found of the other."""
    alike.world.view(alike.world.greta, alike.older)
    visit = alike.stans.visit(alike.world.greta, alike.newer)
    proposal = propose(alike)
    with pytest.raises(Refused, match="still to check the other"):
        answer(alike, proposal)
    alike.stans.call(alike.world.greta, alike.newer, "female", visit=visit)
    assert answer(alike, proposal).status == "accepted"


def test_it_waits_too_where_the_visit_is_over_and_the_call_may_still_come(alike: Two) -> None:
    alike.world.view(alike.world.greta, alike.older)
    alike.stans.visit(alike.world.greta, alike.newer, days=3)
    proposal = propose(alike)
    alike.stans.pass_time(days=10)
    with pytest.raises(Refused, match="still to check the other"):
        answer(alike, proposal)
    alike.stans.pass_time(days=8)
    assert answer(alike, proposal).status == "accepted"


def test_nor_does_the_keeper_of_one_who_is_to_check_the_other(alike: Two) -> None:
    alike.stans.visit(alike.world.odile, alike.newer)
    proposal = propose(alike)
    with pytest.raises(Refused, match="still to check the other"):
        answer(alike, proposal)


# --- a finding ------------------------------------------------------------------------


@dataclass
class Quarrel:
    """Stan asked, Odile said no, and a dispute is open about Stan's. Greta, whom Odile lets see
    hers, is named its arbiter."""

    two: Two
    proposal: Outcome
    finding: Finding

    def greta(self, **more: object) -> Outcome:
        body = {"proposal": self.proposal.id, "agrees": True, "finding": str(self.finding.pk)}
        greta = self.two.world.greta
        return self.two.world.say(greta, "joining_answered", self.two.older.pk, body | more)

    def confirm(self) -> None:
        body = {"finding": str(self.finding.pk), "agrees": True}
        item = self.two.world.item("finding_answered", self.finding.dispute_id, body)
        accept_one(item, Actor(keeper=self.two.world.greta.pk), self.two.world.now)


@told_once
def quarrel(alike: Two) -> Quarrel:
    stan, greta = alike.world.stan, alike.world.greta
    proposal = propose(alike)
    answer(alike, proposal, agrees=False)
    viewer = {"to": str(greta.pk), "role": "viewer", "animals": [str(alike.newer.pk)]}
    alike.stans.say(stan, "grant_given", alike.stans.collection.pk, viewer)
    about = alike.stans.item("", alike.newer.pk, {})["id"]
    opened = {"animal": str(alike.newer.pk), "ground": "party_objects"}
    alike.stans.say(stan, "dispute_opened", UUID(about), opened)
    dispute = Dispute.objects.get()
    finding = {"outcome": "calls_stand", "basis": "arbiter", "arbiter": str(greta.pk)}
    alike.stans.say(stan, "finding_recorded", dispute.pk, finding)
    return Quarrel(alike, proposal, Finding.objects.get(dispute=dispute))


def test_an_arbiter_joins_them_by_a_finding(quarrel: Quarrel) -> None:
    two = quarrel.two
    with pytest.raises(Refused) as unseen:
        quarrel.greta()
    assert unseen.value.as_problem()["code"] == "not_found", "Odile lets her see nothing yet"
    two.world.view(two.world.greta, two.older)
    with pytest.raises(Refused, match="Confirm the finding first"):
        quarrel.greta()
    quarrel.confirm()
    assert quarrel.greta().status == "accepted"
    assert standing(two.older).calls_elsewhere == 2
    told = Letter.objects.filter(kind="joining_answered", context__found=True)
    assert {one.recipient for one in told} == {two.world.odile.pk, two.world.stan.pk}
    assert holds()


def test_no_arbiter_without_a_footing_or_with_a_share(quarrel: Quarrel) -> None:
    two = quarrel.two
    two.world.view(two.world.greta, two.older)
    quarrel.confirm()
    other = Finding.objects.get()
    with pytest.raises(Refused) as refusal:
        quarrel.greta(finding=str(other.dispute_id))
    assert refusal.value.as_problem()["code"] == "not_found"


# --- sales ----------------------------------------------------------------------------


def test_one_snake_is_not_sold_on_each_of_its_records(two: Two) -> None:
    """Whoever keeps two snakes and calls them one would sell both as what one was checked as."""
    two.contradict()
    twin = two.world.animal("A3")
    two.give(to=twin)
    answer(two, propose(two, twin))
    sale = two.world.draft(two.older)
    two.world.offer(sale)
    with pytest.raises(Refused, match="by the other record"):
        two.world.offer(two.world.draft(twin))


def test_nor_by_who_may_not_have_it_any_more(alike: Two) -> None:
    join(alike)
    with pytest.raises(Refused, match="another keeper"):
        alike.world.offer(alike.world.draft(alike.older))


def test_replay_finds_a_call_counted_that_was_not_joined(alike: Two) -> None:
    join(alike)
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE calls_standing DISABLE TRIGGER refuse_change")
        cursor.execute(
            "UPDATE calls_standing SET calls_elsewhere = 0 WHERE animal_id = %s", [alike.older.pk]
        )
    assert [one.animal for one in Replay().differences()] == [alike.older.pk]
