"""The OpenAPI document: valid, complete, and served from our own files."""

import json
from io import StringIO

import pytest
from django.contrib.staticfiles import finders
from django.core.management import call_command
from django.test import Client
from django.urls import URLPattern, get_resolver
from jsonschema import Draft202012Validator
from tests.api.client import BASE, contract

from scalewitness.api.openapi.components import Components
from scalewitness.api.openapi.document import document
from scalewitness.api.urls import urlpatterns
from scalewitness.domain import facts, observations

pytestmark = pytest.mark.one_in(4)


def test_the_document_is_valid_openapi_3_1() -> None:
    """Against the specification's own JSON Schema, as drf-spectacular brings it."""
    call_command("spectacular", "--validate", "--fail-on-warn", stdout=StringIO())
    assert json.loads(document())["openapi"].startswith("3.1")


def test_every_schema_is_json_schema() -> None:
    for schema in contract()["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)


def test_every_reference_leads_somewhere() -> None:
    found = json.loads(document())
    names = {part.split('"')[0] for part in document().decode().split("#/components/schemas/")[1:]}
    assert names <= set(found["components"]["schemas"])


def test_every_path_is_in_it() -> None:
    patterns = [one for one in urlpatterns if isinstance(one, URLPattern)]
    there = {
        str(one.pattern)
        .replace("<uuid:id>", "{id}")
        .replace("<str:token>", "{token}")
        .replace("<int:year>", "{year}")
        for one in patterns
    }
    assert {f"{BASE}/{path}" for path in there - {"schema", "docs"}} == set(contract()["paths"])
    assert len(patterns) > 50
    assert get_resolver().url_patterns


def test_every_operation_says_what_it_does() -> None:
    found = [one for path in contract()["paths"].values() for one in path.values()]
    assert len({one["operationId"] for one in found}) == len(found)
    for one in found:
        assert one["summary"]
        assert one["tags"]
        assert any(status.startswith("2") for status in one["responses"])


def test_it_is_served_and_the_docs_beside_it(db: None) -> None:
    schema = Client().get(f"{BASE}/schema")
    assert schema.headers["Content-Type"].startswith("application/vnd.oai.openapi+json")
    assert schema.json()["info"]["title"] == "Scalewitness"
    docs = Client().get(f"{BASE}/docs")
    assert docs.status_code == 200
    page = docs.content.decode()
    addresses = [part.split('"')[0] for part in page.replace('href="', 'src="').split('src="')[1:]]
    assert f"{BASE}/schema" in addresses
    assert f'data-schema="{BASE}/schema"' in page
    for address in set(addresses) - {f"{BASE}/schema"}:
        assert address.startswith("/static/"), "nothing comes from elsewhere"
        assert finders.find(address.removeprefix("/static/")), address


@pytest.mark.parametrize("path", ["schema", "docs"])
@pytest.mark.parametrize("method", ["POST", "OPTIONS", "DELETE"])
def test_they_are_only_read(path: str, method: str) -> None:
    response = Client().generic(method, f"{BASE}/{path}")
    assert (response.status_code, response.json()["code"]) == (405, "method_not_allowed")
    assert response.headers["Allow"] == "GET, HEAD"


def test_a_wrong_token_does_not_keep_anyone_from_the_docs(db: None) -> None:
    response = Client().get(f"{BASE}/docs", headers={"Authorization": "Bearer nonsense"})
    assert response.status_code == 200


def test_one_name_never_stands_for_two_schemas() -> None:
    components = Components()
    components.schema(facts.Weight)
    components.schema(observations.Pass)

    class Pass(facts.Body, frozen=True):
        """Not the other one."""

        valley: str

    with pytest.raises(ValueError, match="Pass"):
        components.schema(Pass)
