"""Edits under If-Match (RFC 9110, 13.1.1), the same for every record that has a version."""

from collections.abc import Callable

import pytest
from tests.api.client import Answer, Api
from tests.world import World

pytestmark = pytest.mark.one_in(4)

Path = Callable[[World], str]


@pytest.fixture(
    params=[
        lambda world: "/keepers/me",
        lambda world: f"/collections/{world.collection.pk}",
        lambda world: f"/animals/{world.animal('A-1').pk}",
    ],
    ids=["keeper", "collection", "animal"],
)
def path(request: pytest.FixtureRequest, world: World) -> str:
    found: Path = request.param
    return found(world)


def edit(who: Api, path: str, name: str, tag: str | None) -> Answer:
    return who.patch(path, {"name": name}, {} if tag is None else {"If-Match": tag})


@pytest.mark.parametrize("tag", [None, "", "*"])
def test_an_edit_names_the_version_it_is_for(odile: Api, path: str, tag: str | None) -> None:
    answer = edit(odile, path, "New", tag)
    assert (answer.status, answer.code) == (428, "version_missing")


@pytest.mark.parametrize("tag", ['"v7"', 'W/"v1"', "v1", '"1"', '"v1', '"vv1"', '"v-1"', '"v01x"'])
def test_another_version_is_stale_and_only_strong_tags_count(
    odile: Api, path: str, tag: str
) -> None:
    before = odile.get(path).body
    answer = edit(odile, path, "New", tag)
    assert (answer.status, answer.code) == (412, "version_stale")
    assert answer.body["version"] == 1
    assert odile.get(path).body == before


def test_any_of_several_tags_will_do(odile: Api, path: str) -> None:
    assert edit(odile, path, "New", '"v9", "v1"').status == 200


def test_the_second_of_two_editors_is_told(odile: Api, path: str) -> None:
    assert edit(odile, path, "First", '"v1"').headers["ETag"] == '"v2"'
    assert edit(odile, path, "Second", '"v1"').code == "version_stale"
    assert odile.get(path).body["name"] == "First"


def test_an_edit_whose_answer_was_lost_may_be_sent_again(odile: Api, path: str) -> None:
    first = edit(odile, path, "New", '"v1"')
    again = edit(odile, path, "New", '"v1"')
    assert (again.status, again.body) == (200, first.body)
    assert again.headers["ETag"] == '"v2"'
