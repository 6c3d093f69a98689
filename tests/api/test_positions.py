"""A position is nothing without its log: every answer that gives one names the log, and a new place
that does not is found here."""

from typing import Any

import msgspec
from tests.api.client import Api, contract
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.api.positions import MEMBER, POSITIONS, is_whole
from scalewitness.domain.sync import CURSOR_LIMIT, read_cursor, written
from scalewitness.ledger.services.memory import present_origin

NO_POSITIONS = frozenset(
    [
        "again",
        "agreed",
        "animals",
        "at",
        "attempts",
        "base_version",
        "calls",
        "calls_elsewhere",
        "clutch",
        "clutches",
        "collections",
        "compared",
        "count",
        "days_to_pay",
        "dead_in_shell",
        "entries",
        "examined",
        "examiners",
        "expires_in",
        "failed_controls",
        "females",
        "females_per_male",
        "from_nearest",
        "generations",
        "good",
        "harmed",
        "high",
        "interval",
        "keepers",
        "knowing",
        "live",
        "low",
        "males",
        "most",
        "needed",
        "not_shown",
        "of",
        "outside",
        "page",
        "pages",
        "points",
        "quoted_as_of",  # of another log, which is named beside it
        "recheck_days",
        "relatives",
        "replicates",
        "resamples",
        "right",
        "season",
        "seed",
        "session",
        "sexed",
        "signs_within",
        "slugs",
        "status",
        "stillborn",
        "subcaudals",
        "tail_mm",
        "times",
        "total_mm",
        "undefined",
        "undetermined",
        "unsexed",
        "ventrals",
        "version",
        "wrong",
        "year",
        "young",
    ]
)
"""Whole numbers of the API that count or measure something else than the log."""


def schemas() -> dict[str, Any]:
    return dict(contract()["components"]["schemas"])


def whole_numbers() -> set[str]:
    return {
        name
        for schema in schemas().values()
        for name, member in schema.get("properties", {}).items()
        if is_whole(member)
    }


def test_of_every_whole_number_it_is_known_whether_it_is_a_position() -> None:
    assert whole_numbers() == POSITIONS | NO_POSITIONS


def reached(schema: Any, found: set[str]) -> set[str]:
    """The names of all components that a schema leads to."""
    if isinstance(schema, list):
        return found.union(*(reached(one, found) for one in schema))
    if not isinstance(schema, dict):
        return found
    name = str(schema.get("$ref", "")).rpartition("/")[2]
    if name and name not in found:
        found.add(name)
        reached(schemas()[name], found)
    for inner in schema.values():
        reached(inner, found)
    return found


def answers() -> list[tuple[str, dict[str, Any]]]:
    return [
        (operation["operationId"], response["content"]["application/json"]["schema"])
        for path in contract()["paths"].values()
        for operation in path.values()
        for status, response in operation["responses"].items()
        if status.startswith("2") and "application/json" in response.get("content", {})
    ]


def has_position(name: str) -> bool:
    members = schemas()[name].get("properties", {})
    return any(one in POSITIONS and is_whole(members[one]) for one in members)


def test_an_answer_with_a_position_names_its_log() -> None:
    found = [one for one in answers() if any(map(has_position, reached(one[1], set())))]
    assert len(found) > 100
    for operation, schema in found:
        for one in schema.get("anyOf", [schema]):
            top = schemas()[one["$ref"].rpartition("/")[2]]
            assert {MEMBER, "origin"} & set(top["required"]), operation


def test_the_answers_say_it(odile: Api, animal: Animal, world: World) -> None:
    world.call(world.odile, animal, "female")
    for path in (f"/animals/{animal.pk}", f"/animals/{animal.pk}/calls", "/changes", "/log/head"):
        answer = odile.get(path)
        assert answer.status == 200, answer
        assert answer.log_origin == present_origin(), path
    assert odile.get("/collections").log_origin is None, "it gives no position"


def test_a_cursor_of_another_log_is_refused_in_words(odile: Api, animal: Animal) -> None:
    cursor = read_cursor(odile.get("/changes").body["cursor"])
    assert cursor.origin == present_origin()
    other = written(msgspec.structs.replace(cursor, origin="elsewhere.example/log"))
    refused = odile.get("/changes", cursor=other)
    assert (refused.status, refused.code) == (409, "cursor_of_another_log")
    assert "elsewhere.example/log" in refused.body["detail"]
    assert present_origin() in refused.body["detail"]
    assert refused.body["cursor_origin"] == "elsewhere.example/log"


def test_a_cursor_of_before_logs_were_named_goes_on(odile: Api, animal: Animal) -> None:
    cursor = read_cursor(odile.get("/changes").body["cursor"])
    old = written(msgspec.structs.replace(cursor, origin=""))
    answer = odile.get("/changes", cursor=old)
    assert answer.status == 200
    assert read_cursor(answer.body["cursor"]).origin == present_origin()


def test_the_longest_origin_has_room(odile: Api, animal: Animal) -> None:
    cursor = read_cursor(odile.get("/changes").body["cursor"])
    assert len(written(msgspec.structs.replace(cursor, origin="x" * 400))) <= CURSOR_LIMIT
