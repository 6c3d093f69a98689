"""Several who send the same at the same moment: one gets in."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.db import connections
from django.utils import timezone
from tests.second_factors import app_of
from tests.world import World

from scalewitness.domain.errors import ExpiredToken, Refused, SecondFactorWrong, SlowDown
from scalewitness.sign_in.services import handing_over
from scalewitness.sign_in.services.codes import take_code

MANY = 6


def at_once(work: Callable[[], object]) -> list[object]:
    """What each of them got, a refusal as its class."""
    together = Barrier(MANY)

    def one(_: int) -> object:
        try:
            together.wait()
            work()
            return "in"
        except Refused as refused:
            return type(refused)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(MANY) as pool:
        return list(pool.map(one, range(MANY)))


def test_one_code_lets_one_in(lasting_world: World) -> None:
    app, now = app_of(lasting_world.odile), timezone.now()
    for code in (app.code(), app.recovery[0]):
        found = at_once(lambda code=code: take_code(lasting_world.odile, code, now))  # type: ignore[misc]
        assert found.count("in") == 1
        assert found.count(SecondFactorWrong) == MANY - 1


def test_one_device_code_fetches_one_token(lasting_world: World) -> None:
    now = timezone.now()
    begun = handing_over.begin("laptop", "192.0.2.1", now)
    asking = handing_over.waiting(begun.user_code, now)
    handing_over.decide(asking, lasting_world.odile, now, approved=True)
    made: list[str] = []
    found = at_once(
        lambda: handing_over.fetch(begun.device_code, now, lambda keeper, name: made.append(name))
    )
    assert made == ["laptop"]
    assert found.count("in") == 1
    assert set(found) <= {"in", ExpiredToken, SlowDown}
