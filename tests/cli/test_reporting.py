"""What a veterinarian or a laboratory found, reported from the command with or without a signal."""

import csv
import io
from hashlib import sha256

import pytest
from tests.cli.rooms import Machine, Room, invite, new_animal

pytestmark = pytest.mark.one_in(5)

WORD = (
    "Until they confirm it, or somebody without a share in the animal confirms what they read or "
    "saw, it is your word and verifies nothing."
)
LAB = ("--whose", "laboratory", "--whose-name", "Larkmoor marker laboratory")
_FLAGS = (
    "--method dna --saw system=ZW --saw sample=shed --saw found=heterogametic "
    "--saw marker=W-12/3 --saw replicates=3 --saw failed_controls=0 --conclusion female "
    "--sureness certain --identified transponder:999000000077701"
)
TESTED = tuple(_FLAGS.split())


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


def test_a_laboratorys_test_goes_with_all_that_it_reports(odile: Machine) -> None:
    animal = new_animal(odile, "R1")
    odile.sync()
    report = odile.home / "report.pdf"
    report.write_bytes(b"%PDF a report")
    stored = odile.well("check", "R1", *TESTED, *LAB, "--document", str(report))
    assert stored["told"] == [f"You report it as that of Larkmoor marker laboratory. {WORD}"]
    again = odile.well("check", "R1", *TESTED, *LAB)
    assert odile.sync()["sent"] == 2
    calls = {one["id"]: one for one in odile.api.get(f"animals/{animal}/calls").json()["items"]}
    first, second = calls[stored["stored"][0]], calls[again["stored"][0]]
    assert first["observed"] == {
        "method": "dna", "system": "ZW", "sample": "shed", "found": "heterogametic",
        "marker": "W-12/3", "replicates": 3, "failed_controls": 0,
    }  # fmt: skip
    assert (first["examiner"]["role"], first["report"]) == ("laboratory", "unconfirmed")
    assert first["examiner"]["name"] == "Larkmoor marker laboratory"
    assert first["examiner"]["id"] == second["examiner"]["id"], "one laboratory, named once"
    assert first["document"] == sha256(b"%PDF a report").hexdigest()
    shown = odile.run("show", "R1").out
    assert "Who made it: laboratory; it is its sender's word until that is confirmed." in shown
    assert odile.rows("SELECT named FROM practitioner WHERE name LIKE 'Larkmoor%'") == [(1,)]
    rows = {one["id"]: one for one in csv.DictReader(io.StringIO(odile.run("export", "calls").out))}
    written = [rows[first["id"]][name] for name in ("reported_role", "reported_who", "report")]
    assert written == ["laboratory", first["examiner"]["id"], "unconfirmed"]
    assert rows[first["id"]]["document"] == first["document"]
    assert rows[first["id"]]["examiner"] == "Odile", "whoever sent it"


def test_whoever_was_named_on_a_page_keeps_their_id(room: Room, odile: Machine) -> None:
    animal = new_animal(odile, "R2")
    body = {"id": "0192f000-0000-7000-8000-00000000aaaa", "name": "Dr Ilse Brandt"}
    assert odile.api.post("practitioners", json=body).status_code == 201
    odile.sync()
    flags = "--method endoscopy --saw seen=ovaries --saw post_mortem=no --conclusion female "
    flags += "--sureness certain --identified keeper_said --held-by sedated --whose veterinarian"
    odile.well("check", "R2", *flags.split(), "--whose-name", "Dr  Ilse Brandt")
    odile.sync()
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert call["examiner"] == {"role": "veterinarian", **body}


def test_it_asks_as_the_page_does_and_a_test_of_parents_concludes_by_itself(
    odile: Machine,
) -> None:
    animal = new_animal(odile, "R3")
    odile.sync()
    typed = ["A lab", "", "father", "sire", "4", "yes", "yes", "no", "keeper_said", ""]
    answer = odile.run("check", "R3", "--method", "parentage", type="\n".join(typed))
    assert answer.status == 0, answer
    assert "Was sperm that she kept from earlier seasons ruled out? (yes or no)" in answer.err
    assert "“father” is not sire, not_sire, dam_alone or failed." in answer.err
    assert WORD in answer.out
    assert "Never push" not in answer.err, "nobody holds the animal for it"
    odile.sync()
    (call,) = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert (call["conclusion"], call["sureness"]) == ("male", "certain")
    assert call["observed"]["parthenogenesis_excluded"] is False
    assert call["examiner"]["role"] == "laboratory"


@pytest.fixture(scope="module")
def known(odile: Machine) -> str:
    new_animal(odile, "R4")
    odile.sync()
    return "R4"


@pytest.mark.parametrize(
    ("flags", "why"),
    [
        (LAB[:2], "Say whose check it was: --whose-name."),
        (LAB[2:], "Say what they are: --whose veterinarian, laboratory, earlier_keeper."),
        (("--saw", "sample=hair"), "What was sampled? “hair” is not shed, blood, swab or tissue."),
        (("--saw", "replicates=97"), "is not a number from 1 to 96"),
        (("--saw", "colour=red"), "Nothing of dna is called colour."),
        (("--document", "nothing.pdf"), "is neither a file nor a fingerprint"),
        (("--method", "statement", *LAB), "A statement has its own source."),
        (("--method", "parentage"), "Only a laboratory does this: report it as theirs"),
    ],
)
def test_what_the_record_would_refuse_is_not_stored(
    odile: Machine, known: str, flags: tuple[str, ...], why: str
) -> None:
    before = odile.well("unsent")
    answer = odile.run("check", known, *TESTED, *flags)
    assert (answer.status, why in answer.err) == (2, True), answer
    assert odile.well("unsent") == before


def test_a_guest_reports_for_nobody(room: Room, odile: Machine) -> None:
    """Who keeps the animal does, as on the pages: a guest brings what they found themselves."""
    greta = room.at_work("greta")
    animal = new_animal(odile, "R5")
    invite(odile, greta, animal)
    greta.sync()
    for flags in ((*TESTED, *LAB), ("--method", "parentage")):
        answer = greta.run("check", "R5", *flags)
        assert (answer.status, "Only whoever keeps the animal reports" in answer.err) == (2, True)
