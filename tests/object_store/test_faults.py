"""A store that is away, slow, full, wrong or set up wrongly: nothing is lost, nobody is shown other
bytes, and nobody else waits."""

import os
import re
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from io import StringIO
from threading import Event, Thread
from typing import Any
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, connections
from django.test import Client
from django.utils import timezone
from tests.api.client import BASE, Api
from tests.object_store.conftest import KEYS, in_bucket, photo_of, put_to_use
from tests.object_store.stand_in import StandIn
from tests.operator import metrics
from tests.pictures import plain_file
from tests.waiting import ENOUGH
from tests.world import World

from scalewitness.animals.models import Animal, PhotoErasure, PhotoFile
from scalewitness.animals.queries.photo_files import bucket, photo_file
from scalewitness.animals.tasks import keep_bucket, sweep_bucket
from scalewitness.domain.errors import FilesAway
from scalewitness.intake.batch import Actor
from scalewitness.intake.erasure import erase_own_texts
from scalewitness.object_store import bucket as bucket_module

pytestmark = pytest.mark.one_in(4)


def refusing(status: int, code: str, *methods: str) -> Any:
    return lambda method, key: (status, code) if method in methods else None


def page(api: Api, photo: UUID) -> Any:
    return Client().get(f"{BASE}/photos/{photo}", headers=api.headers)


@pytest.fixture
def odile(world: World) -> Api:
    return Api(world.odile)


@pytest.fixture
def moved(world: World, animal: Animal, faulty: StandIn) -> UUID:
    world.now = timezone.now()
    photo = photo_of(world, animal)
    keep_bucket()
    assert in_bucket() == 1
    return photo


# --- reading --------------------------------------------------------------------------


def test_a_photo_comes_back_from_the_bucket_to_whoever_may_see_it(
    moved: UUID, odile: Api, world: World
) -> None:
    answer = page(odile, moved)
    assert (answer.content, answer.headers["Cache-Control"]) == (plain_file(), "private, no-store")
    assert page(Api(world.pim), moved).status_code == 404


def test_whoever_may_not_see_it_asks_nothing_of_the_store(
    moved: UUID, faulty: StandIn, world: World
) -> None:
    """So that no answer takes longer for a photo that is there."""
    faulty.asked.clear()
    assert page(Api(world.pim), moved).status_code == 404
    assert faulty.asked == []


WRONG = {
    "down": refusing(500, "InternalError", "GET"),
    "too much asked of it": refusing(503, "SlowDown", "GET"),
    "no right any more": refusing(403, "AccessDenied", "GET"),
    "its clock or ours": refusing(403, "RequestTimeTooSkewed", "GET"),
    "it lost the object": refusing(404, "NoSuchKey", "GET"),
    "other bytes": lambda method, key: b"another" if method == "GET" else None,
    "too many bytes": lambda method, key: plain_file() + b"!" if method == "GET" else None,
}


@pytest.mark.parametrize("what", WRONG)
def test_what_the_store_does_wrong_is_nobody_else_s_photo_and_no_404(
    moved: UUID, odile: Api, faulty: StandIn, what: str
) -> None:
    faulty.fault = WRONG[what]
    answer = page(odile, moved)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "30")
    assert answer.json()["code"] == "busy"
    faulty.fault = lambda method, key: None
    assert page(odile, moved).status_code == 200


def test_on_a_page_too(moved: UUID, world: World, faulty: StandIn) -> None:
    faulty.fault = WRONG["down"]
    reader = Client()
    reader.force_login(world.odile)
    answer = reader.get(f"/photos/{moved}")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "30")


def test_nothing_listens_there(moved: UUID, settings: Any) -> None:
    put_to_use(settings, "http://127.0.0.1:1", *KEYS, "photos")
    with pytest.raises(FilesAway) as fault:
        photo_file(moved)
    assert fault.value.why == "EndpointConnectionError"


def test_a_store_that_does_not_answer_is_waited_for_so_long(
    moved: UUID, faulty: StandIn, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bucket_module, "ANSWERS_WITHIN", 0.1)
    settings.STORAGES = dict(settings.STORAGES)  # made anew
    answers = Event()
    faulty.fault = lambda method, key: answers.wait(ENOUGH) and None  # type: ignore[func-returns-value]
    with pytest.raises(FilesAway) as fault:
        photo_file(moved)
    answers.set()
    assert fault.value.why == "ReadTimeoutError"


def test_only_so_many_wait_for_it(moved: UUID, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bucket_module, "A_TURN", 0.01)
    turns = bucket()._turns
    for _ in range(bucket_module.AT_ONCE):
        turns.acquire()
    with pytest.raises(FilesAway) as fault:
        photo_file(moved)
    assert fault.value.why == "too_many"
    for _ in range(bucket_module.AT_ONCE):
        turns.release()
    assert photo_file(moved) == plain_file()


# --- moving ---------------------------------------------------------------------------


TAKES_NOTHING = {
    "full": refusing(507, "QuotaExceeded", "PUT"),
    "down": refusing(500, "InternalError", "PUT"),
    "takes it and forgets": refusing(404, "NoSuchKey", "GET"),
    "says it is not there": refusing(404, "NoSuchKey", "PUT"),
    "takes it and gives back another": lambda method, key: b"?" if method == "GET" else None,
}


@pytest.mark.parametrize("what", TAKES_NOTHING)
def test_a_store_that_takes_nothing_keeps_nobody_from_sending_photos(
    world: World, animal: Animal, faulty: StandIn, what: str
) -> None:
    """They stay in the database, and are moved when it takes them again."""
    faulty.fault = TAKES_NOTHING[what]
    photo = photo_of(world, animal)
    keep_bucket()
    assert (in_bucket(), photo_file(photo)) == (0, plain_file())
    with pytest.raises(CommandError, match="Nothing is lost"):
        call_command("move_photos", "--to", "objects", stdout=StringIO())
    faulty.fault = lambda method, key: None
    keep_bucket()
    assert (in_bucket(), photo_file(photo)) == (1, plain_file())


def test_what_cannot_be_deleted_keeps_nothing_else_waiting(
    world: World, animal: Animal, faulty: StandIn
) -> None:
    """As where the bucket holds an object for so many days."""
    held, gone = photo_of(world, animal, 60), photo_of(world, animal, 61)
    keep_bucket()
    for photo in (held, gone):
        erase_own_texts(photo, Actor(keeper=world.odile.pk), world.now)
    new = photo_of(world, animal, 62)
    faulty.fault = lambda method, key: (
        (403, "AccessDenied") if method == "DELETE" and str(held) in key else None
    )
    for _ in range(100):
        keep_bucket()
        if PhotoErasure.objects.get(pk=gone).cleared_at:
            break
    assert PhotoErasure.objects.get(pk=gone).cleared_at
    assert not PhotoErasure.objects.get(pk=held).cleared_at
    assert {key.split("/")[2] for key in faulty.buckets["photos"]} == {str(held), str(new)}
    sweep_bucket()
    assert len(faulty.buckets["photos"]) == 2


def test_the_log_goes_on_while_the_store_hangs(lasting_world: World, faulty: StandIn) -> None:
    """Nobody waits for it under the log's lock, nor inside a transaction."""
    world = lasting_world
    photo = photo_of(world, world.animal("P1"))
    hangs, goes_on = Event(), Event()

    def hang(method: str, key: str) -> None:
        hangs.set()
        goes_on.wait(ENOUGH)

    faulty.fault = hang
    work = Thread(target=_alone, args=(keep_bucket,))
    work.start()
    assert hangs.wait(ENOUGH)
    with connection.cursor() as cursor:
        cursor.execute(OPEN)
        assert cursor.fetchone()[0] == 0
    world.animal("P2")
    erase_own_texts(photo, Actor(keeper=world.odile.pk), world.now)
    goes_on.set()
    work.join(ENOUGH)
    assert photo_file(photo) is None
    assert faulty.buckets["photos"] == {}, "what was put for an erased photo went with it"


OPEN = """
SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()
AND state LIKE 'idle in transaction%' AND pid <> pg_backend_pid()
"""


def _alone(work: Any) -> None:
    work()
    connections.close_all()


@pytest.mark.one_in(1)
@pytest.mark.parametrize("request_", range(5))
@pytest.mark.some(3)
def test_killed_at_each_request_and_run_again(
    lasting_world: World, faulty: StandIn, request_: int
) -> None:
    """Two files: of each the object is put, read back, and then the row refers to it."""
    world = lasting_world
    animal = world.animal("P1")
    photos = [photo_of(world, animal, width) for width in (60, 61)]
    faulty.asked.clear()

    def kill(method: str, key: str) -> None:
        if len(faulty.asked) == request_ + 1:
            os.kill(child, signal.SIGKILL)

    faulty.fault = kill
    with forked(keep_bucket) as child:
        pass
    faulty.fault = lambda method, key: None
    assert [photo_file(one) for one in photos] == [plain_file(60), plain_file(61)]
    out = StringIO()
    call_command("move_photos", "--to", "objects", stdout=out)
    assert f"{2 - min(request_ // 2, 2)} files moved" in out.getvalue()
    assert [photo_file(one) for one in photos] == [plain_file(60), plain_file(61)]
    assert not PhotoFile.objects.filter(data__isnull=False)


@contextmanager
def forked(work: Callable[[], None]) -> Iterator[int]:
    """A process that does the work, begun when the block ends, which waits for its end."""
    database: Any = connection
    connections.close_all()
    database.close_pool()
    begins, begin = os.pipe()
    child = os.fork()
    if not child:
        os.read(begins, 1)
        try:
            work()
        finally:
            os._exit(0)
    yield child
    os.write(begin, b"!")
    os.waitpid(child, 0)
    os.close(begins)
    os.close(begin)


# --- set up wrongly -------------------------------------------------------------------


def check() -> str:
    """What the operator's look at a live service says of the bucket."""
    said = StringIO()
    with suppress(SystemExit):
        call_command("check", "--only", "bucket", stdout=said)
    return said.getvalue()


def test_a_bucket_as_it_should_be(world: World, faulty: StandIn) -> None:
    assert "gives it back and deletes it" in check()
    assert faulty.buckets["photos"] == {}
    assert "wrong" not in check()


def test_no_bucket_is_no_fault(world: World) -> None:
    assert "none is set" in check()


SET_UP = {
    "its clock": refusing(403, "RequestTimeTooSkewed", "PUT"),
    "there is no such bucket": refusing(404, "NoSuchBucket", "PUT"),
    "full": refusing(507, "QuotaExceeded", "PUT"),
    "no right": refusing(403, "AccessDenied", "DELETE"),
    "still has it": lambda method, key: (204, "") if method == "DELETE" else None,
}


@pytest.mark.parametrize("said", SET_UP)
def test_what_is_wrong_is_said_in_words(world: World, faulty: StandIn, said: str) -> None:
    faulty.fault = SET_UP[said]
    assert said in check()
    assert check().startswith("wrong")


def test_a_bucket_open_to_all_one_with_rules_and_one_with_versions(
    world: World, faulty: StandIn
) -> None:
    faulty.public = True
    assert "anybody may read and list" in check()
    faulty.public, faulty.rules = False, ("after-a-year",)
    assert "objects may go: after-a-year" in check()
    faulty.rules, faulty.versioning = (), "Enabled"
    assert "keeps versions" in check()
    assert faulty.buckets["photos"] == {}


def test_what_waits_too_long_is_said(world: World, animal: Animal, faulty: StandIn) -> None:
    photo = photo_of(world, animal)  # long ago, by the story's clock
    assert "1 photos wait in the database" in check()
    assert overdue_measured() == 1
    erase_own_texts(photo, Actor(keeper=world.odile.pk), world.now)
    assert "of 1 photos, erased" in check()
    keep_bucket()
    assert "wrong" not in check()
    assert overdue_measured() == 0


def overdue_measured() -> float:
    (line,) = re.findall(r"^scalewitness_photos_overdue (\S+)$", metrics().content.decode(), re.M)
    return float(line)
