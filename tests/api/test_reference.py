"""What everyone may read: species, and the head of the log."""

from base64 import b64decode

from tests.api.client import Api

from scalewitness.animals.models import Animal
from scalewitness.ledger.queries.tree import tip


def test_species_come_with_their_sources(odile: Api) -> None:
    items = odile.get("/species").body["items"]
    royal = next(one for one in items if one["key"] == "python_regius")
    assert royal["scientific"] == "Python regius"
    assert all(source["source"] and source["status"] for source in royal["sources"])
    assert items[-1]["key"] == "serpentes"


def test_the_logs_head_is_public(nobody: Api, animal: Animal) -> None:
    head = nobody.get("/log/head").body
    assert (head["size"], b64decode(head["root"])) == (tip().size, tip().root)
    assert head["size"] == 7
