"""Claims of traits that fall under proved parents, and what is owed to those who relied on them."""

from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.families import Family, brood_test, confirm, family, result_of
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.errors import Refused
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of
from scalewitness.traits.models import ClaimChange

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
HET: dict[str, Any] = {"locus": "albino", "says": "carries_one", "basis": "parents"}


@told_once
def known(world: World) -> Family:
    """Of proved parents."""
    return family(world)


def het(world: World, animal: Animal, **more: Any) -> str:
    return world.say(world.odile, "trait_stated", animal.pk, HET | more).id or ""


def offered(world: World, animal: Animal, *claims: str) -> tuple[Sale, Outcome]:
    sale = world.draft(animal)
    named = [{"animal": str(animal.pk), "stated": one} for one in claims]
    return sale, world.offer(sale, claims=named)


def bought(world: World, animal: Animal, *claims: str) -> Sale:
    sale, offer = offered(world, animal, *claims)
    world.confirm(sale, offer.id or "", offer.position or 0)
    world.say(world.odile, "payment_recorded", sale.pk)
    return Sale.objects.get(pk=sale.pk)


def disprove(world: World, known: Family) -> list[str]:
    """Neither parent carries it, as a laboratory finds."""
    return [result_of(world, one, "carries_none") for one in (known.sire, known.dam)]


def changes() -> list[bool]:
    return list(ClaimChange.objects.order_by("position").values_list("fell", flat=True))


def letters(sale: Sale) -> list[tuple[str, str]]:
    rows = Letter.objects.filter(recipient=sale.buyer_id).order_by("created_at", "id")
    found = [(one.kind, one.context.get("change", "")) for one in rows]
    return [one for one in found if one[0] in {"claim_disclosure", "sale_held"}]


def test_it_falls_in_the_transaction_of_the_fact_that_disproved_it(
    world: World, known: Family
) -> None:
    """By hand, at one miss in a thousand and all alleles alike: each parent carries it with about
    3 in 1000, and gives it with two in three of those."""
    claim = het(world, known.young)
    _, second = disprove(world, known)
    fell = ClaimChange.objects.get()
    assert (str(fell.statement_id), str(fell.cause)) == (claim, second)
    assert float(fell.chance) == pytest.approx(2 * 0.003 * 2 / 3, rel=0.1)
    stated = Entry.objects.get(fact=second).position
    assert fell.position == stated + 1


def test_one_parent_alone_makes_nothing_fall(world: World, known: Family) -> None:
    het(world, known.young)
    result_of(world, known.dam, "carries_none")
    assert changes() == []


def test_looks_alone_make_no_het_fall_however_rare_it_is(world: World, known: Family) -> None:
    het(world, known.young)
    for one in (known.sire, known.dam):
        body = {"locus": "albino", "says": "does_not_show", "basis": "seen"}
        world.say(world.odile, "trait_stated", one.pk, body)
    assert changes() == []


@pytest.mark.parametrize("lacking", ["test", "excluded", "brood", "witness", "dam"])
def test_without_proved_parents_nothing_falls(world: World, lacking: str) -> None:
    known = family(world, proved=False)
    if lacking == "excluded":
        confirm(world, known.sire, brood_test(world, known.sire, excluded=False))
    elif lacking == "brood":
        parents = {"sire": str(known.sire.pk), "dam": str(known.dam.pk)}
        world.animal("Y-2", hatched=known.young.hatched.isoformat(), **parents)
        confirm(world, known.sire, brood_test(world, known.sire))
    elif lacking == "witness":
        confirm(world, known.sire, known.test)
        call = known.dam.calls.get(method="reproduction")
        world.say(world.fenna, "witness_withdrawn", known.dam.pk, {"call": str(call.pk)})
    elif lacking == "dam":
        confirm(world, known.sire, known.test)
        body = {"species": "python_regius", "sire": str(known.sire.pk)}
        body["hatched"] = known.young.hatched.isoformat()
        world.say(world.odile, "particulars_corrected", known.young.pk, body)
    het(world, known.young)
    disprove(world, known)
    assert changes() == []


def test_the_proof_may_come_last(world: World) -> None:
    """Reading the laboratory's document is the fact that makes it fall."""
    known = family(world, proved=False)
    het(world, known.young)
    disprove(world, known)
    assert changes() == []
    confirm(world, known.sire, known.test)
    assert changes() == [True]


def test_what_was_sold_as_a_chance_and_what_is_in_words_never_fall(
    world: World, known: Family
) -> None:
    het(world, known.young, says="may_carry", chance="0.660000")
    words = {"says": "carries_one", "basis": "claimed"}
    world.say(world.odile, "trait_stated", known.young.pk, words, texts={"words": "albino"})
    unknown = {"locus": "axanthic_other", "says": "carries_one", "basis": "claimed"}
    world.say(world.odile, "trait_stated", known.young.pk, unknown)
    disprove(world, known)
    assert changes() == []


def test_a_stranger_who_may_look_at_both_parents_makes_nothing_fall(
    world: World, known: Family
) -> None:
    het(world, known.young)
    world.view(world.greta, known.sire, known.dam)
    body = {"locus": "albino", "says": "carries_none", "basis": "dna"}
    for one in (known.sire, known.dam):
        world.say(world.greta, "trait_stated", one.pk, body, texts={"laboratory": "Mine"})
    assert changes() == []


def test_an_unpaid_sale_is_held_and_the_offer_cannot_be_made_again_with_it(
    world: World, known: Family
) -> None:
    claim = het(world, known.young)
    sale, _ = offered(world, known.young, claim)
    disprove(world, known)
    sale = Sale.objects.get(pk=sale.pk)
    assert progress_of(sale).held == ("claim_fell",)
    assert letters(sale) == [("sale_held", "")]
    named = [{"animal": str(known.young.pk), "stated": claim}]
    with pytest.raises(Refused) as refused:
        world.offer(sale, claims=named)
    assert refused.value.as_problem()["code"] == "standing_moved"
    assert world.offer(sale).status == "accepted"
    assert Disclosure.objects.count() == 0


def test_whoever_paid_hears_of_each_change_once(world: World, known: Family) -> None:
    """It falls, stands again when a result is withdrawn, and falls by another."""
    claim = het(world, known.young)
    sale = bought(world, known.young, claim)
    sire, _ = disprove(world, known)
    assert letters(sale) == [("claim_disclosure", "fell")]
    result_of(world, known.dam, "carries_none", "piebald")
    assert letters(sale) == [("claim_disclosure", "fell")]
    world.pass_time(days=1)
    world.say(world.odile, "trait_withdrawn", known.sire.pk, {"stated": sire})
    result_of(world, known.sire, "carries_none")
    assert changes() == [True, False, True]
    owed = Disclosure.objects.order_by("position")
    assert [one.change for one in owed] == ["fell", "restored", "fell"]
    assert {str(one.claim) for one in owed} == {claim}
    assert call_command("fsck") is None


def test_a_claim_withdrawn_after_the_sale_is_disclosed(world: World, known: Family) -> None:
    """Who sells as “100 % het” and takes it back gains nothing by that."""
    claim = het(world, known.young)
    sale = bought(world, known.young, claim)
    world.say(world.odile, "trait_withdrawn", known.young.pk, {"stated": claim})
    assert letters(sale) == [("claim_disclosure", "withdrawn")]
    owed = Disclosure.objects.get()
    assert (owed.change, owed.chance) == ("withdrawn", "")
    het(world, known.young)  # said anew, it is another statement, which nobody relied on
    assert Disclosure.objects.count() == 1


def test_whoever_heard_that_it_fell_is_not_told_again_that_it_is_taken_back(
    world: World, known: Family
) -> None:
    claim = het(world, known.young)
    sale = bought(world, known.young, claim)
    disprove(world, known)
    world.say(world.odile, "trait_withdrawn", known.young.pk, {"stated": claim})
    assert letters(sale) == [("claim_disclosure", "fell")]
    assert changes() == [True]


def test_a_claim_withdrawn_before_it_is_paid_holds_the_sale(world: World, known: Family) -> None:
    """Its maker need not be the seller."""
    world.make_partner(world.pim)
    claim = world.say(world.pim, "trait_stated", known.young.pk, HET).id or ""
    sale, _ = offered(world, known.young, claim)
    world.say(world.pim, "trait_withdrawn", known.young.pk, {"stated": claim})
    assert progress_of(Sale.objects.get(pk=sale.pk)).held == ("claim_withdrawn",)


def test_the_breeder_hears_and_so_does_whoever_keeps_it_now(world: World, known: Family) -> None:
    """Stan has it from Odile, who stated it and keeps both parents."""
    het(world, known.young)
    room = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    given = {"to": str(world.odile.pk), "role": "partner"}
    grant = world.say(world.stan, "grant_given", room.pk, given)
    world.say(world.odile, "custody_changed", known.young.pk, {"to": str(room.pk), "why": "given"})
    world.say(world.stan, "grant_revoked", room.pk, {"grant": grant.id})
    disprove(world, known)
    told = Letter.objects.filter(kind="claim_notice")
    assert {one.recipient for one in told} == {world.odile.pk, world.stan.pk}
    (breeder,) = [one for one in told if one.recipient == world.odile.pk]
    (claim,) = breeder.context["claims"]
    assert (claim["change"], claim["animal"]["name"]) == ("fell", "")


def test_a_maker_who_is_to_check_it_blind_hears_nothing(world: World, known: Family) -> None:
    grant = world.make_partner(world.greta)
    world.say(world.greta, "trait_stated", known.young.pk, HET)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    world.visit(world.greta, known.young, days=60)
    disprove(world, known)
    assert changes() == [True]
    told = Letter.objects.filter(kind="claim_notice").values_list("recipient", flat=True)
    assert world.greta.pk not in set(told)


@pytest.mark.parametrize("which", ["other", "nobody", "twice"])
def test_an_offer_represents_what_was_stated_of_its_animals_once(
    world: World, known: Family, which: str
) -> None:
    claim = het(world, known.young)
    named = {"animal": str(known.young.pk), "stated": claim}
    claims = {
        "other": [named | {"animal": str(known.sire.pk)}],
        "nobody": [named | {"stated": str(new_id())}],
        "twice": [named, named],
    }[which]
    with pytest.raises(Refused) as refused:
        world.offer(world.draft(known.young), claims=claims)
    assert refused.value.as_problem()["code"] == "out_of_range"


def test_what_was_confirmed_covers_the_claims(world: World, known: Family) -> None:
    """A page read before the claim was withdrawn confirms nothing after it."""
    claim = het(world, known.young)
    sale, _ = offered(world, known.young, claim)
    before = world.look(sale)
    bare = world.look(world_sale(world, known.sire))
    assert before["shown"]["digest"] != bare["shown"]["digest"]
    world.say(world.odile, "trait_withdrawn", known.young.pk, {"stated": claim})
    item = world.item("sale_confirmed", sale.pk, before)
    with pytest.raises(Refused) as refused:
        accept_one(item, world.buyer(sale), world.now)
    problem = refused.value.as_problem()
    assert problem["code"] == "standing_moved"
    assert "what is claimed of its traits" in problem["detail"]


def world_sale(world: World, animal: Animal) -> Sale:
    sale = world.draft(animal)
    world.offer(sale)
    return sale


def test_a_whole_brood_falls_at_once_and_its_breeder_hears_in_one_letter(world: World) -> None:
    """Each claim by its own fact, all in the transaction of one; a tested one of them stands."""
    known = family(world, proved=False)
    parents = {"sire": str(known.sire.pk), "dam": str(known.dam.pk)}
    hatched = (known.young.hatched or world.now).isoformat()
    brood = [world.animal(f"Z-{n}", hatched=hatched, **parents) for n in range(24)]
    confirm(world, known.sire, brood_test(world, known.sire, young=25))
    for one in brood:
        het(world, one)
    result_of(world, brood[0], "carries_one")
    with CaptureQueriesContext(connection) as few:
        result_of(world, known.dam, "carries_none", "piebald")
    disprove(world, known)
    assert changes() == [True] * 23
    (letter,) = Letter.objects.filter(kind="claim_notice")
    assert (letter.context["count"], letter.context["more"]) == (23, 3)
    assert len(few) < 60, "as many however large the brood is"


def test_offers_without_claims_keep_their_bytes(world: World, known: Family) -> None:
    sale = world_sale(world, known.young)
    (entry,) = Entry.objects.filter(about=sale.pk)
    assert b"claims" not in bytes(entry.leaf)
