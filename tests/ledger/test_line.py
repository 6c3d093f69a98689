"""Whoever has waited for the log longest has it next, in whichever process."""

from concurrent.futures import ThreadPoolExecutor

from django.db import connection, connections, transaction
from tests.waiting import ENOUGH, eventually
from tests.world import World

from scalewitness.ledger.services.writing import take_turn

ROUNDS = 5


def waiting() -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_locks JOIN pg_database ON oid = database"
            " WHERE datname = current_database() AND NOT granted"
        )
        return int(cursor.fetchone()[0])


def test_who_waits_has_the_log_before_one_who_had_it_just_now(lasting_world: World) -> None:
    order: list[str] = []

    def wait() -> None:
        try:
            with transaction.atomic():
                take_turn()
                order.append("waited")
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as threads:
        for _ in range(ROUNDS):
            with transaction.atomic():
                take_turn()
                other = threads.submit(wait)
                eventually(waiting, "the other to wait for its turn")
            with transaction.atomic():
                take_turn()
                order.append("again")
            other.result(ENOUGH)
    assert order == ["waited", "again"] * ROUNDS
