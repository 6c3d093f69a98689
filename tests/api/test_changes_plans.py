"""What a page of the feed asks is answered from an index, however long the log.

PostgreSQL, Row Estimation Examples: an estimate for any values is all there is for a statement
planned once; so the plan for any values is what is looked at.
"""

import re
from collections.abc import Mapping
from typing import Any

import pytest
from django.db import connection
from tests.ledger.growing import append
from tests.world import World

from scalewitness.feed.queries import SAID

pytestmark = pytest.mark.django_db

TYPES = {"start": "bigint", "end": "bigint", "keeper": "uuid"}


def plan(statement: str, values: Mapping[str, Any]) -> str:
    """For any values, with the tables as they are now."""
    names = list(dict.fromkeys(re.findall(r"%\((\w+)\)s", statement)))
    for number, name in enumerate(names, 1):
        statement = statement.replace(f"%({name})s", f"${number}")
    types, given = ", ".join(TYPES[one] for one in names), ", ".join(["%s"] * len(names))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE ledger_entry, animals_animal, animals_collection")
        cursor.execute("SET LOCAL plan_cache_mode = force_generic_plan")
        cursor.execute(f"PREPARE asked ({types}) AS {statement}")
        cursor.execute(f"EXPLAIN EXECUTE asked ({given})", [values[one] for one in names])
        found = "\n".join(line for (line,) in cursor.fetchall())
        cursor.execute("DEALLOCATE asked")
    return found


def test_what_someone_said_is_found_by_who_said_it(world: World) -> None:
    append(3_000)
    world.verified("A1")
    found = plan(SAID, {"keeper": world.odile.pk, "start": 0, "end": 3_000})
    assert "using entry_by on ledger_entry" in found
    assert "Seq Scan on ledger_entry" not in found
