"""What somebody with a superuser's rights does to the database, and how it was before."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from re import findall

import psycopg
from tests.plugins.environment import SERVICES


@contextmanager
def altered(database: str, statements: str, words: Mapping[str, str]) -> Iterator[None]:
    """While it lasts, by somebody whom no trigger stops; afterwards the tables are as before.

    ``statements`` are parted by semicolons, and each must change something; the ``words`` in them
    are short for what they lead to, in this order."""
    for short, whole in words.items():
        statements = statements.replace(short, whole)
    tables = set(findall(r"(?:UPDATE|DELETE FROM|INSERT INTO) ([a-z]+_[a-z]+)", statements))
    address = SERVICES.superuser_url or SERVICES.owner_url
    with psycopg.connect(address, dbname=database, autocommit=True) as hand:

        def each(what: str) -> None:
            for table in tables:
                hand.execute(what.replace("TABLE_NAME", table).encode())

        def triggers(which: str) -> None:
            if SERVICES.superuser_url:
                role = {"DISABLE": "replica", "ENABLE": "origin"}[which]
                hand.execute(f"SET session_replication_role = {role}".encode())
            else:
                each(f"ALTER TABLE TABLE_NAME {which} TRIGGER USER")

        each("CREATE TEMPORARY TABLE kept_TABLE_NAME AS TABLE TABLE_NAME")
        triggers("DISABLE")
        try:
            for statement in statements.split(";"):
                assert hand.execute(statement.encode()).rowcount, "it altered nothing"
            yield
        finally:
            with hand.transaction():
                each("DELETE FROM TABLE_NAME")
                each("INSERT INTO TABLE_NAME SELECT * FROM kept_TABLE_NAME")
            triggers("ENABLE")
