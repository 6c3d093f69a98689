"""The command computes standings again from what the server sends: an honest one alarms nobody, a
forged one is named, and where not all may be read that is said."""

import json
from typing import Any
from uuid import UUID

import msgspec
import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.api.client import Api
from tests.api.conftest import present
from tests.api.test_receipts import token
from tests.learned import LITTLE, publish
from tests.plugins.told_once import told_once
from tests.recomputed import Sent
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.facts import Circumstance, DeceitFound, StandingChanged
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.record_map import NotShown
from scalewitness.intake.batch import Batch
from scalewitness.intake.numbers import adopt_numbers
from scalewitness.intake.statements import RECORD, adopt_policy, update_examiner_records
from scalewitness.ledger.queries.entries import entry_at, leaf_of
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.pages.parts.proving import species_of
from scalewitness.people.services import store_deceit
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.replay import Replay
from scalewitness.standings.services import standing_row
from scalewitness_cli.recomputing import SAME
from scalewitness_cli.saved import FORMAT, Checked, Saved, check

pytestmark = pytest.mark.one_in(4)

LOG = read_signer(settings.LOG_SIGNING_KEY).verifier
UNREADABLE = "it rests on entries that you have no access to"


@told_once
def known(world: World) -> Animal:
    """Verified, with a later blind call; its examiners have records, and a policy was adopted."""
    egg = world.animal("E1")
    world.call(world.greta, egg, "female", visit=world.visit(world.greta, egg))
    world.lays(egg)
    assert update_examiner_records(world.now)
    adopt_policy("policy-of-ours", "sexing-3", {"verified": "0.985000"}, world.now)
    animal = world.verified("V1")
    world.call(world.greta, animal, "male", visit=world.visit(world.greta, animal))
    present(world)
    return animal


def stated(animal: Animal) -> StandingChanged:
    """The standing in force, as its entry has it."""
    latest = latest_standing(animal.pk)
    assert latest is not None
    entry = entry_at(latest.position)
    assert entry is not None
    return msgspec.convert(leaf_of(entry).body, StandingChanged)


def forge(world: World, animal: Animal, **changes: Any) -> None:
    """Whoever has the log's key states another standing: table, log, map and signature agree."""
    body = msgspec.structs.replace(
        stated(animal), **({"admitted": (), "reports": (), "counted": ()} | changes)
    )
    batch = Batch(RECORD, world.now)
    batch.keep(Standing, standing_row(batch.state("standing_changed", animal.pk, body)))
    batch.flush()
    sign_checkpoint(world.now)


def of(keeper: Api, animal: Animal) -> str | None:
    return Sent(keeper).computed(str(animal.pk))


def test_an_honest_standing_comes_to_the_same_for_whoever_sees_it(
    world: World, known: Animal, odile: Api
) -> None:
    sent = Sent(odile)
    assert set(sent.all().values()) == {SAME}
    assert sent.kinds_beside == {"policy_adopted", "examiner_record_changed"}
    unknown = sent.all(but="policy_adopted")[str(known.pk)]
    assert unknown == "its label is by policy-of-ours, which is not known here"
    assert "does not follow" in str(sent.all(but="examiner_record_changed")[str(known.pk)])


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"label": "verified female", "p_male": "0.003000"}, "shown, verified female with"),
        ({"p_male": "0.999100"}, "a chance of male of 0.999100 "),
        ({"p_male_pessimistic": "0.999000"}, "(0.999000 trusting every call less)"),
        ({"label": "probable male"}, "shown, probable male with"),
        ({"policy": "policy-1"}, "by policy-1, and policy-of-ours was in force"),
        ({"examiner_records": "none"}, "by older records than were in force"),
        ({"verified_with": "sexing-3.1"}, "does not follow from the record"),
        ({"known_elsewhere": True}, "does not follow from the record"),
        ({"calls_elsewhere": 2}, "none is of the same snake"),
    ],
    ids=lambda one: "-".join(one) if isinstance(one, dict) else "",
)
@pytest.mark.some(3)
def test_a_forged_standing_is_named(
    world: World, known: Animal, odile: Api, changes: dict[str, Any], said: str
) -> None:
    assert of(odile, known) == SAME
    forge(world, known, **changes)
    with pytest.raises(NotShown) as named:
        of(odile, known)
    assert said in str(named.value)


def circumstance(animal: Animal) -> Circumstance:
    """What the record stated of the last call on it."""
    (found,) = stated(animal).admitted
    return found


@pytest.mark.parametrize(
    "changes",
    [
        {"blind": False, "anchored_to": "male"},
        {"identity": "mismatch"},
        {"waits": True},
    ],
    ids=lambda one: "".join(one),
)
def test_a_forged_circumstance_is_named_where_the_figure_does_not_follow_from_it(
    world: World, known: Animal, odile: Api, changes: dict[str, Any]
) -> None:
    forge(world, known, admitted=(msgspec.structs.replace(circumstance(known), **changes),))
    with pytest.raises(NotShown, match="does not follow from the record"):
        of(odile, known)


def forge_with_its_figure(world: World, animal: Animal, odile: Api, **changes: Any) -> None:
    """What a standing states of the last call on it, and the figure that follows from that."""
    forged = msgspec.structs.replace(circumstance(animal), **changes)
    forge(world, animal, admitted=(forged,))
    try:
        of(odile, animal)
    except NotShown as named:
        if "comes to" in str(named):
            label, p_male, pessimistic = comes_to(str(named))
            chances = {"p_male": p_male, "p_male_pessimistic": pessimistic}
            forge(world, animal, admitted=(forged,), label=label, **chances)


ON_A_VISIT: list[tuple[dict[str, Any], str]] = [
    ({"blind": False, "anchored_to": "female"}, "anchored_to of the call"),
    ({"blind": False}, "as None, and it was male"),
    ({"identity": "confirmed"}, "the codes that it bore it is tub_tag"),
    ({"identity": "mismatch"}, "the codes that it bore it is tub_tag"),
    ({"interested": True}, "blind of the call"),
    ({"stage": "juvenile"}, "by the day that it hatched"),
    ({"waits": True}, "it is not contrary to a verified sex"),
]
AT_HOME: list[tuple[dict[str, Any], str]] = [
    ({"blind": True, "anchored_to": None}, "its sender has an interest"),
    ({"blind": True, "anchored_to": None, "interested": False}, "it is under no visit"),
]


@pytest.mark.parametrize(
    ("at_home", "changes", "said"),
    [(False, *one) for one in ON_A_VISIT] + [(True, *one) for one in AT_HOME],
)
@pytest.mark.some(3)
def test_what_the_animals_entries_refute_is_named_with_any_figure(
    world: World, known: Animal, odile: Api, at_home: bool, changes: dict[str, Any], said: str
) -> None:
    """Of what a standing states of a call; by the command and by the full check."""
    hatched = {"species": "python_regius", "hatched": "2015-06-01"}
    world.say(world.odile, "particulars_corrected", known.pk, hatched)
    if at_home:
        world.call(world.odile, known, "male")
    else:
        world.call(world.stan, known, "male", visit=world.visit(world.stan, known))
    forge_with_its_figure(world, known, odile, **changes)
    with pytest.raises(NotShown) as named:
        of(odile, known)
    assert said in str(named.value)
    assert any(said in one.what for one in Replay().differences())


@pytest.mark.parametrize(
    ("at_home", "changes", "said"),
    [
        (True, {"interested": False}, "its sender kept it"),
        (True, {"footing": "record"}, "their own record gave them none"),
        (False, {"footing": "founder"}, "nobody had named them"),
        (False, {"footing": "vouched"}, "had answered for them"),
    ],
)
def test_what_other_entries_refute_is_named_by_the_full_check_alone(
    world: World, known: Animal, odile: Api, at_home: bool, changes: dict[str, Any], said: str
) -> None:
    newcomer = keeper("Piers Amblethorpe")
    if at_home:
        world.call(world.odile, known, "male")
    else:
        world.call(newcomer, known, "male", visit=world.visit(newcomer, known))
    forge_with_its_figure(world, known, odile, **changes)
    assert of(odile, known) == SAME
    (found,) = [one for one in Replay().differences() if "recomputed" not in one.what]
    assert said in found.what


def test_what_nothing_refutes_is_taken_as_it_stands(
    world: World, known: Animal, odile: Api
) -> None:
    """That a guest was not blind after all, whoever made the call can tell."""
    forge_with_its_figure(world, known, odile, blind=False, anchored_to="male")
    assert of(odile, known) == SAME


def comes_to(said: str) -> tuple[str, str, str]:
    """What the record comes to, as a clause of a forged standing says it."""
    words = said.rpartition("comes to ")[2]
    label, _, chances = words.partition(" with a chance of male of ")
    p_male, _, rest = chances.partition(" (")
    return label, p_male, rest.partition(" ")[0]


def saved_of(proofs: Any, nobody: Api) -> Saved:
    """As a page keeps it that showed the species and nothing else."""
    shown = [dict(species_of("It", UUID(one["id"]), "python_regius")) for one in proofs["animals"]]
    key = nobody.get("/log/map-key").body
    return Saved(FORMAT, proofs["map"]["position"], shown, proofs, key)


def test_the_standing_in_a_saved_record_is_computed_again(
    world: World, known: Animal, odile: Api, nobody: Api
) -> None:
    def of_file(but: str = "") -> Checked:
        asked = {"animals": str(known.pk), "entries": "yes", "rested_on": "yes"}
        proofs = odile.get("/proofs", **asked).body
        return check(saved_of({k: v for k, v in proofs.items() if k != but}, nobody), [LOG])

    assert (of_file().amiss, of_file().computed) == ((), {str(known.pk): SAME})
    assert "which is not known here" in of_file("rested_on").computed[str(known.pk)]
    forge(world, known, label="verified female", p_male="0.003000")
    (amiss,) = of_file().amiss
    assert amiss.startswith(f"{known.pk}: the standing shown, verified female with")


@pytest.mark.parametrize("calls", [1, 2])
def test_a_buyers_saved_record_is_computed_again_where_they_may_read_all_of_it(
    world: World, nobody: Api, calls: int
) -> None:
    """A link shows the standing in force and none before it, which told of the earlier calls."""
    adopt_policy("policy-of-ours", "sexing-3", {"verified": "0.985000"}, world.now)
    animal = world.animal("S1")
    for _ in range(calls):
        world.call(world.odile, animal, "male")
    present(world)
    sale = world.draft(animal)
    world.offer(sale)
    proofs = nobody.get(f"/offers/{token(sale, 'offer')}/proofs").body
    kinds = {json.loads(decode64(one["entry"]))["kind"] for one in proofs["rested_on"]}
    assert kinds == {"policy_adopted"}
    found = check(saved_of(proofs, nobody), [LOG])
    assert found.amiss == ()
    assert found.computed == {str(animal.pk): SAME if calls == 1 else UNREADABLE}


def test_a_buyer_is_given_no_examiners_record(world: World, known: Animal, nobody: Api) -> None:
    sale = world.draft(known)
    world.offer(sale)
    proofs = nobody.get(f"/offers/{token(sale, 'offer')}/proofs").body
    kinds = {json.loads(decode64(one["entry"]))["kind"] for one in proofs["rested_on"]}
    assert kinds == {"policy_adopted"}
    assert [one["unread"] for one in proofs["animals"]] == [True]


def test_an_examiners_record_is_kept_from_whoever_is_to_check_blind(
    world: World, known: Animal
) -> None:
    """It moves when the animal to be checked is settled. The standing then is the server's."""
    world.view(world.stan, known)
    assert of(Api(world.stan), known) == SAME
    world.visit(world.stan, world.animal("B1"))
    stan = Sent(Api(world.stan))
    assert "examiner_record_changed" not in stan.kinds_beside
    assert stan.computed(str(known.pk)) == UNREADABLE


def test_who_sees_no_animal_is_sent_nothing_that_standings_rest_on(
    world: World, known: Animal, nobody: Api
) -> None:
    world.visit(world.stan, known)
    stan = Api(world.stan)
    answer = stan.get("/proofs", animals=str(known.pk), rested_on="yes").body
    assert (answer["animals"], answer["rested_on"]) == ([], [])
    plain = Api(world.odile).get("/proofs", animals=str(known.pk)).body
    assert "rested_on" not in plain
    assert "unread" not in plain["animals"][0]


@pytest.mark.parametrize("of_one_examiner", [False, True])
def test_learned_numbers_come_along_where_everybody_is_shown_all_of_them(
    world: World, known: Animal, odile: Api, of_one_examiner: bool
) -> None:
    """They are kept back where one of them tells of one examiner, or of few animals."""
    publish(world, LITTLE | ({f"depth_bias.{world.greta.pk}": "0.5"} if of_one_examiner else {}))
    adopt_numbers(world.now)
    world.call(world.odile, known, "male")
    present(world)
    assert stated(known).parameters == "sexing-3.1"
    sent = Sent(odile)
    unknown = "it was computed with numbers that are not here (sexing-3.1)"
    assert sent.computed(str(known.pk)) == (unknown if of_one_examiner else SAME)
    assert ("numbers_adopted" in sent.kinds_beside) is not of_one_examiner


def test_however_much_standings_rest_on_it_is_asked_for_at_once(
    world: World, known: Animal, odile: Api
) -> None:
    def questions() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert odile.get("/proofs", animals=all_of_them(), rested_on="yes").body["rested_on"]
        return len(asked)

    def all_of_them() -> str:
        return ",".join(str(one.pk) for one in Animal.objects.all())

    few = questions()
    for number in range(3):
        adopt_policy(f"policy-{number}.x", "sexing-3", {"verified": "0.985000"}, world.now)
        animal = world.animal(f"F{number}")
        world.call(world.greta, animal, "male", visit=world.visit(world.greta, animal))
    present(world)
    odile.get("/proofs", animals=all_of_them(), rested_on="yes")
    assert questions() <= few


def test_a_check_that_counts_on_an_animal_out_of_sight(world: World) -> None:
    """Of the two records its examiner filed it on, a viewer sees one."""
    opened, read = world.animal("M1"), world.animal("M2")
    world.call(world.odile, opened, "male")
    made = world.say(world.odile, "call_made", opened.pk, probing("male", world.chip(read)))
    world.say(world.odile, "call_refiled", read.pk, {"call": made.id})
    world.view(world.stan, opened)
    world.view(world.greta, read)
    present(world)
    odile, stan, greta = (Sent(Api(one)) for one in (world.odile, world.stan, world.greta))
    assert set(odile.all().values()) == {SAME}
    assert odile.kinds_beside == {"call_made", "call_refiled"}
    assert stan.all() == {str(opened.pk): SAME}, "of another animal, it never weighed anything"
    assert stan.proofs[str(opened.pk)]["unread"]
    assert greta.all() == {str(read.pk): UNREADABLE}


def test_other_records_of_the_snake_count_where_they_are_seen(world: World) -> None:
    older, newer = world.animal("T1"), world.animal("T2")
    chip = {"scheme": "transponder", "code": "276 098 100 000 003"}
    for animal in (older, newer):
        world.say(world.odile, "identifier_assigned", animal.pk, chip)
        world.call(world.odile, animal, "male")
    asked = world.say(world.odile, "joining_proposed", newer.pk, {"code": chip["code"]})
    answer = {"proposal": asked.id, "agrees": True}
    world.say(world.odile, "joining_answered", older.pk, answer)
    world.view(world.stan, newer)
    present(world)
    assert stated(newer).calls_elsewhere == 1
    assert set(Sent(Api(world.odile)).all().values()) == {SAME}
    elsewhere = "checks of other records of the snake count with it"
    assert Sent(Api(world.stan)).all() == {str(newer.pk): elsewhere}


def test_who_checked_another_record_of_the_snake_is_for_those_who_see_it(world: World) -> None:
    """Their record beside a standing would name them, and so would a finding of deceit."""
    egg = world.animal("E1")
    world.call(world.greta, egg, "female", visit=world.visit(world.greta, egg))
    world.lays(egg)
    assert update_examiner_records(world.now)
    older, newer = world.animal("T1"), world.animal("T2")
    chip = {"scheme": "transponder", "code": "276 098 100 000 003"}
    for animal in (older, newer):
        world.say(world.odile, "identifier_assigned", animal.pk, chip)
    world.call(world.greta, older, "male", visit=world.visit(world.greta, older))
    world.call(world.odile, newer, "male")
    asked = world.say(world.odile, "joining_proposed", newer.pk, {"code": chip["code"]})
    answer = {"proposal": asked.id, "agrees": True}
    world.say(world.odile, "joining_answered", older.pk, answer)
    batch = Batch(RECORD, world.now)
    found = DeceitFound(finding=str(new_id()))
    store_deceit(batch.state("deceit_found", world.greta.pk, found))
    batch.flush()
    world.call(world.odile, newer, "male")
    world.view(world.stan, newer)
    present(world)
    odile, stan = Sent(Api(world.odile)), Sent(Api(world.stan))
    assert {"examiner_record_changed", "deceit_found"} <= odile.kinds_beside
    assert world.greta.pk not in {one.about for one in stan.beside}
    elsewhere = "checks of other records of the snake count with it"
    assert stan.all() == {str(newer.pk): elsewhere}
    world.view(world.stan, older)
    assert world.greta.pk in {one.about for one in Sent(Api(world.stan)).beside}


def test_a_registration_that_names_parents_out_of_sight_hides_nothing(world: World) -> None:
    """But a statement of what it inherits may."""
    parents = {"sire": str(world.animal("S1").pk), "dam": str(world.animal("D1").pk)}
    animal = world.animal("Y1", **parents)
    world.call(world.odile, animal, "female")
    world.view(world.stan, animal)
    present(world)
    stan = Sent(Api(world.stan))
    assert stan.proofs[str(animal.pk)]["hidden"], "the registration"
    assert stan.all() == {str(animal.pk): SAME}
    forge(world, animal, p_male="0.400000")
    with pytest.raises(NotShown):
        of(Api(world.stan), animal)
    linkage = {
        "trait": "coral_glow",
        "shows": "one_copy",
        "sire_copies": 1,
        "dam_copies": 0,
        "beside": "Y",
        "recombination": "0.050000",
        "provenance": "keepers_speak_of",
    }
    world.say(world.odile, "linkage_stated", animal.pk, linkage | parents)
    present(world)
    assert of(Api(world.odile), animal) == SAME
    assert of(Api(world.stan), animal) == UNREADABLE


def test_a_server_that_does_not_say_convicts_nobody(
    world: World, known: Animal, odile: Api
) -> None:
    sent = Sent(odile)
    for proof in sent.proofs.values():
        del proof["unread"]
    assert sent.computed(str(known.pk)) == "the server does not say what it rests on"


def test_an_entry_beside_that_is_not_in_the_log_is_refused(
    world: World, known: Animal, odile: Api
) -> None:
    sent = Sent(odile)
    answer = odile.get("/proofs", animals=str(known.pk), rested_on="yes").body
    one, other = answer["rested_on"][:2]
    one["entry"] = other["entry"]
    with pytest.raises(NotShown, match="is not in the log"):
        sent.placed(answer)


def test_a_finding_is_among_what_its_standing_rests_on(world: World, odile: Api) -> None:
    animal = world.verified("V2")
    world.sold(animal)
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    contrary = animal.calls.get(by=world.greta.pk)
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    world.find(animal.disputes.get(), contrary)
    present(world)
    assert UUID(odile.get("/animals").body["items"][0]["id"]) == animal.pk
    sent = Sent(odile)
    assert {"dispute_opened", "finding_recorded"} <= sent.kinds_beside
    assert sent.all() == {str(animal.pk): SAME}
