"""What somebody with the database in hand may alter of what a reader sees, all in one table.

Each is looked at by the command of a keeper who may see the animal's whole record, on a machine
that fetches everything anew but remembers the last checkpoint. What no reader sees as part of a
record, and what browsers find on a page, is in ``tests/fsck`` and ``test_proving_pages``.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count
from shutil import copytree

import httpx
import pytest
from django.conf import settings
from django.utils import timezone
from tests.browser.altering import Told, altered, tell
from tests.browser.conftest import Site
from tests.cli.loaded import Loaded
from tests.cli.rooms import Machine
from tests.cli.test_verify import environment

from scalewitness.domain.translog.keys import read_signer
from scalewitness.ledger.services.signing import sign_checkpoint

SWAPPED = (
    "CREATE TEMPORARY TABLE two AS SELECT position FROM ledger_entry WHERE about = ANIMAL "
    "AND kind = 'call_made' ORDER BY position LIMIT 2; "
    "UPDATE ledger_entry SET position = -1 WHERE position = (SELECT min(position) FROM two); "
    "UPDATE ledger_entry SET position = (SELECT min(position) FROM two) "
    "WHERE position = (SELECT max(position) FROM two); "
    "UPDATE ledger_entry SET position = (SELECT max(position) FROM two) WHERE position = -1"
)
NOT_STATED = "the entries are not those that the log states"
NOT_SIGNED = "the map it is proved by is not in the tree that was signed"
REFUSED = "does not continue what was signed"
"""The server sees for itself that its log is not what it signed."""
ALTERATIONS = {
    "a leaf": (
        "UPDATE ledger_entry SET leaf = OTHER_LEAF WHERE THE_CALL",
        "not what the log holds at 15 (A call by probing; the conclusion: fema.)",
    ),
    "a leaf and its hash": (
        "UPDATE ledger_entry SET leaf = OTHER_LEAF, "
        "leaf_hash = sha256('\\x00'::bytea || OTHER_LEAF) WHERE THE_CALL",
        NOT_SIGNED,
    ),
    "the hash of a leaf": (
        "UPDATE ledger_entry SET leaf_hash = sha256(leaf_hash) WHERE THE_CALL",
        NOT_SIGNED,
    ),
    "a call taken out": (
        "DELETE FROM ledger_entry WHERE THE_CALL; DELETE FROM calls_call WHERE THE_CALL",
        REFUSED,
    ),
    "a withdrawal taken out": (
        "DELETE FROM ledger_entry WHERE about = ANIMAL AND kind = 'call_withdrawn'; "
        "DELETE FROM calls_withdrawal",
        REFUSED,
    ),
    "a call put under an animal of nobody's": (
        "UPDATE ledger_entry SET about = '01890000-0000-7000-8000-0000000000aa' WHERE THE_CALL",
        "13 entries are stated and 12 are there",
    ),
    "another's call put under the animal": (
        "UPDATE ledger_entry SET about = ANIMAL WHERE about = OTHER AND kind = 'call_made'",
        "4 entries are stated and 3 are there",
    ),
    "a call by the name of something that readers do not get": (
        "UPDATE ledger_entry SET kind = 'founder_named' WHERE THE_CALL",
        "13 entries are stated and 12 are there",
    ),
    "two entries in another order": (SWAPPED, NOT_SIGNED),
    "its count in the map": (
        "UPDATE ledger_mapsubject SET count = count - 1",
        "12 entries are stated and 13 are there",
    ),
    "its chain in the map": ("UPDATE ledger_mapsubject SET chain = sha256(chain)", NOT_STATED),
    "its path in the map": ("UPDATE ledger_mapsubject SET path = sha256(path)", REFUSED),
    "the animal taken out of the map": (
        "DELETE FROM ledger_mapsubject WHERE subject = ANIMAL",
        "the server shows no proof of it",
    ),
    "the map's nodes": ("UPDATE ledger_mapnode SET hash = sha256(hash)", NOT_STATED),
    "the standing": (
        "UPDATE calls_standing SET label = 'verified female' WHERE animal_id = ANIMAL",
        "the standing shown, verified female, is not the one stated at 24",
    ),
    "how sure the standing is": (
        "UPDATE calls_standing SET p_male = 0.6 WHERE animal_id = ANIMAL",
        "the standing shown, verified male, is not the one stated at 24",
    ),
    "the last standing taken out": (
        "DELETE FROM calls_standing WHERE position = "
        "(SELECT max(position) FROM calls_standing WHERE animal_id = ANIMAL)",
        "the standing shown, contested, is not the one stated at 24",
    ),
    "a code": (
        "UPDATE animals_identifier SET code = 'R-9' WHERE animal_id = ANIMAL",
        "the codes shown are not those that were stated",
    ),
    "a code taken out": (
        "DELETE FROM animals_identifier WHERE animal_id = ANIMAL",
        "the codes shown are not those that were stated",
    ),
    "the species": (
        "UPDATE animals_animal SET species = 'boa_imperator' WHERE id = ANIMAL",
        "the species or the day of hatching shown is not the one that was stated",
    ),
    "the day of hatching": (
        "UPDATE animals_animal SET hatched = '1999-01-01' WHERE id = ANIMAL",
        "the species or the day of hatching shown is not the one that was stated",
    ),
    "that it died": (
        "UPDATE animals_animal SET ended = 'died', ended_at = now() WHERE id = ANIMAL",
        "whether the animal died, was lost or stolen is shown otherwise than stated",
    ),
    "a note": (
        "UPDATE ledger_text SET text = text || '!' WHERE field = 'note'",
        "the note shown at position 21 is not the one that its entry commits to",
    ),
    "the salt of a note": (
        "UPDATE ledger_text SET salt = sha256(salt) WHERE field = 'note'",
        "the note shown at position 21 is not the one that its entry commits to",
    ),
    "the newest checkpoint": (
        "UPDATE ledger_checkpoint SET note = replace(note, 'serv', 'sorv')",
        "It says it is “testsorver/log”",
    ),
    "the newest checkpoint taken out": (
        "DELETE FROM ledger_checkpoint WHERE size = (SELECT max(size) FROM ledger_checkpoint)",
        "29 entries now, 31 before",
    ),
    "a shorter head": ("UPDATE ledger_head SET size = size - 1", REFUSED),
}


@dataclass(frozen=True)
class Reader:
    template: Machine
    homes: Iterator[int]

    def anew(self) -> Machine:
        """As the reader's machine was, but for all that was fetched."""
        home = self.template.home.with_name(f"reader-{next(self.homes)}")
        copytree(self.template.home, home)
        made = replace(self.template, home=home, clock=700.0)
        for forget in ("DELETE FROM animal", "DELETE FROM fact", "DELETE FROM kept"):
            made.tamper(forget)
        return made


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    return tell(site.world)


@pytest.fixture(scope="module")
def reader(site: Site, story: Told, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Reader]:
    folder = tmp_path_factory.mktemp("readers")
    loaded = Loaded(folder / "loaded", environment() | {"PYTHONWARNINGS": "error"})
    home = folder / "reader"
    home.mkdir()
    email = site.world.odile.email
    made = Machine(home, site.url, email, httpx.Client(), lambda: None, loaded)
    try:
        made.sign_in(str(read_signer(settings.LOG_SIGNING_KEY).verifier))
        assert made.sync()["proved"]
        sign_checkpoint(timezone.now())
        assert made.sync()["alarm"] is None
        yield Reader(made, count())
    finally:
        loaded.close()


def test_who_looks_and_finds_nothing_altered_is_not_alarmed(reader: Reader) -> None:
    found = reader.anew().sync()
    assert found["proved"] == 2
    assert found["alarm"] is None


@pytest.mark.parametrize("what", ALTERATIONS)
@pytest.mark.some(3)
def test_the_reader_names_what_was_altered(story: Told, reader: Reader, what: str) -> None:
    statements, named = ALTERATIONS[what]
    machine = reader.anew()
    with altered(story, statements):
        answer = machine.run("sync", "--json")
    if named is REFUSED:
        assert (answer.status, named in answer.err) == (3, True), answer
        return
    assert answer.status == 1, answer
    assert named in machine.run("alarms").out
