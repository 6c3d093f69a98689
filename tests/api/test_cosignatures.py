"""Keepers vouch for having seen a head: taken once it holds, counted without names."""

import time
from base64 import b64encode
from datetime import timedelta
from pathlib import Path
from uuid import UUID

import httpx
import pytest
from django.conf import settings as configured
from django.core.cache import cache
from django.db import transaction
from django.db.models import F
from django.test import Client
from django.utils import timezone
from tests.api.client import Api
from tests.signing import code
from tests.witnessing import cosigned, keepers_witness
from tests.world import World

from scalewitness.domain.translog.checkpoints import Checkpoint as Head
from scalewitness.domain.translog.keys import KeyType, Signer, read_signer
from scalewitness.domain.translog.notes import (
    SignatureLine,
    open_note,
    read_note,
    signature_line,
    signed,
)
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept
from scalewitness.ledger.models import Checkpoint, Cosignature, GivenOut, Witness
from scalewitness.ledger.queries.witnesses import MOST_LINES
from scalewitness.ledger.services.cosigning import MOST_EVER, MOST_KEYS, take
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.commands.witness import sent_by
from scalewitness_cli.memory import Memory
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.witness import Seen, look, to_send

pytestmark = pytest.mark.one_in(4)

LOG = read_signer(configured.LOG_SIGNING_KEY)


@pytest.fixture
def head(world: World) -> Checkpoint:
    cache.clear()
    world.animal("H-1")
    return sign_checkpoint(timezone.now())


def grown(world: World) -> Checkpoint:
    world.animal(f"G-{Checkpoint.objects.count()}")
    return sign_checkpoint(timezone.now())


def test_a_cosignature_is_taken_and_served(head: Checkpoint, odile: Api, nobody: Api) -> None:
    answer = odile.post("/log/cosignatures", cosigned(head, at=1_790_000_000))
    assert answer.status == 201
    assert (answer.body["size"], answer.body["at"]) == (head.size, "2026-09-21T14:13:20Z")
    text = Client().get("/log/checkpoint").content
    opened = open_note(text, [LOG.verifier, keepers_witness().verifier])
    assert [one.at for one in opened.verified] == [None, 1_790_000_000]
    assert nobody.get("/log/checkpoint").body["note"] == text.decode()


def test_sent_again_it_is_the_same(head: Checkpoint, odile: Api) -> None:
    first = odile.post("/log/cosignatures", cosigned(head))
    again = odile.post("/log/cosignatures", cosigned(head, at=int(time.time()) + 60))
    assert (first.status, again.status) == (201, 200)
    assert again.body == first.body
    assert (Cosignature.objects.count(), Witness.objects.count()) == (1, 1)


def test_who_has_seen_which_head_is_counted(
    world: World, head: Checkpoint, odile: Api, pim: Api, nobody: Api
) -> None:
    later = grown(world)
    now = int(time.time())
    for api, number, seen, at in ((odile, 1, head, now - 50), (odile, 2, head, now - 40),
                                  (pim, 3, head, now - 30), (pim, 3, later, now)):  # fmt: skip
        assert (
            api.post("/log/cosignatures", cosigned(seen, keepers_witness(number), at)).status == 201
        )
    shown = nobody.get("/log/witnesses").body
    assert (shown["keepers"], shown["outside"]) == (2, 0)
    assert [(one["size"], one["keepers"]) for one in shown["heads"]] == [
        (later.size, 1), (head.size, 2),
    ]  # fmt: skip
    first, last = shown["heads"][1]["first_at"], shown["heads"][1]["last_at"]
    assert first < last
    for personal in (str(world.odile.pk), str(world.pim.pk), world.odile.name, "witness/"):
        assert personal not in str(shown)


def test_another_checkpoint_is_refused(head: Checkpoint, odile: Api) -> None:
    sent = cosigned(head)
    for change in ({"size": head.size + 1}, {"root": b64encode(bytes(32)).decode()}):
        assert odile.post("/log/cosignatures", sent | change).code == "checkpoint_unknown"


def test_a_forged_one_is_refused(world: World, head: Checkpoint, odile: Api) -> None:
    later = grown(world)
    forger = Signer(keepers_witness().name, KeyType.COSIGNATURE, bytes(32))
    # The last: a key ID forged to be the key's, over a signature of another key.
    line = signature_line(read_note(head.note).text, forger, int(time.time()))
    forged = SignatureLine(line.name, keepers_witness().verifier.key_id, line.signature)
    for cosignature, refusal in (
        (cosigned(head, forger)["cosignature"], "witness_unknown"),
        (cosigned(later)["cosignature"], "bad_signature"),
        (str(forged).rstrip("\n"), "bad_signature"),
    ):
        sent = cosigned(head) | {"cosignature": cosignature}
        assert odile.post("/log/cosignatures", sent).code == refusal
    assert not Cosignature.objects.exists()
    assert not Witness.objects.exists()


def test_times_ahead_are_refused(head: Checkpoint, odile: Api) -> None:
    now = int(time.time())
    assert odile.post("/log/cosignatures", cosigned(head, at=now + 400)).code == "future_date"
    assert odile.post("/log/cosignatures", cosigned(head, at=2**64 - 1)).code == "future_date"
    assert odile.post("/log/cosignatures", cosigned(head, at=now + 200)).status == 201


def test_a_key_belongs_to_whoever_registered_it(head: Checkpoint, odile: Api, pim: Api) -> None:
    assert odile.post("/log/cosignatures", cosigned(head)).status == 201
    assert pim.post("/log/cosignatures", cosigned(head)).code == "not_allowed"
    assert Witness.objects.get().keeper == odile.device.keeper_id


NAMES = [
    "odile",
    "record.example/witness/0000000000000001",
    "{log}/witness/odile-and-sons12",
    "{log}/witness/000000000000001",
    "{log}/witness/0000000000000001/o@mail.example",
]


@pytest.mark.parametrize("name", NAMES)
def test_a_name_that_could_tell_who_it_is_is_refused(
    head: Checkpoint, odile: Api, name: str
) -> None:
    signer = Signer(name.format(log=LOG.name), KeyType.COSIGNATURE, bytes(32))
    answer = odile.post("/log/cosignatures", cosigned(head, signer))
    assert (answer.code, answer.pointer) == ("out_of_range", "/key")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [({"key": "x"}, "/key"), ({"key": str(LOG.verifier)}, "/key"), ({"root": "?"}, "/root"),
     ({"cosignature": "— x"}, "/cosignature")],
)  # fmt: skip
def test_what_cannot_be_read_is_pointed_to(
    head: Checkpoint, odile: Api, change: dict[str, str], pointer: str
) -> None:
    answer = odile.post("/log/cosignatures", cosigned(head) | change)
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", pointer)


def test_a_keeper_has_a_few_keys(head: Checkpoint, odile: Api) -> None:
    for number in range(1, MOST_KEYS + 1):
        sent = cosigned(head, keepers_witness(number))
        assert odile.post("/log/cosignatures", sent).status == 201
    sent = cosigned(head, keepers_witness(MOST_KEYS + 1))
    assert odile.post("/log/cosignatures", sent).code == "not_allowed"
    assert odile.post("/log/cosignatures", cosigned(head, keepers_witness(1))).status == 200


def test_a_served_checkpoint_stays_readable_for_all(head: Checkpoint) -> None:
    """At most 16 lines, which every reader must take (C2SP signed-note); the outside
    witness's is among them though it came last."""
    now = timezone.now()
    outside = Signer("watch.example", KeyType.COSIGNATURE, bytes(32))
    text = read_note(head.note).text
    takers = [(UUID(int=n), keepers_witness(n)) for n in range(1, 21)] + [(None, outside)]
    for keeper, signer in takers:
        line = signature_line(text, signer, 1)
        take(keeper, signer.verifier, line, head.size, bytes(head.root), now)
    lines = read_note(Client().get("/log/checkpoint").content).lines
    assert len(lines) == 1 + MOST_LINES == 16
    assert [one.name for one in lines[:3]] == [LOG.name, outside.name, keepers_witness(1).name]


def test_a_new_log_key_keeps_the_cosignatures(
    head: Checkpoint, odile: Api, settings: object
) -> None:
    odile.post("/log/cosignatures", cosigned(head))
    new = Signer(LOG.name, KeyType.ED25519, bytes(32))
    settings.LOG_SIGNING_KEY = new.secret()
    opened = open_note(
        Client().get("/log/checkpoint").content, [new.verifier, keepers_witness().verifier]
    )
    assert len(opened.verified) == 2


def test_they_are_only_added(head: Checkpoint, odile: Api) -> None:
    odile.post("/log/cosignatures", cosigned(head))
    for rows in (Cosignature.objects.all(), Witness.objects.all()):
        with pytest.raises(Exception, match="append-only"), transaction.atomic():
            rows._raw_delete("default")
        with pytest.raises(Exception, match="append-only"), transaction.atomic():
            rows.update(id=F("id"))


@pytest.mark.usefixtures("one_minute")
def test_they_come_at_a_measured_pace(head: Checkpoint, odile: Api) -> None:
    rate = configured.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]["witness"]
    for _ in range(int(rate.split("/")[0])):
        assert odile.post("/log/cosignatures", {}).code == "wrong_shape"
    assert odile.post("/log/cosignatures", {}).code == "throttled"


def test_head_moves_on_without_them(world: World, head: Checkpoint, odile: Api) -> None:
    """A cosignature under an earlier checkpoint is still taken, and not shown under another."""
    grown(world)
    assert odile.post("/log/cosignatures", cosigned(head)).status == 201
    assert len(read_note(Client().get("/log/checkpoint").content).lines) == 1
    assert timezone.now() - Cosignature.objects.get().received_at < timedelta(minutes=1)


def by_views(request: httpx.Request) -> httpx.Response:
    answer = Client().get(request.url.path)
    return httpx.Response(answer.status_code, content=answer.content)


def test_the_client_and_the_server_understand_each_other(
    world: World, odile: Api, tmp_path: Path
) -> None:
    """The keeper's own program against the real views, at growing sizes; then the log
    vouches for a tree that it does not have, and it is the client who notices."""
    cache.clear()
    memory = Memory(tmp_path, LOG.name)
    log = PublicLog("http://testserver", httpx.MockTransport(by_views))
    for _ in range(3):
        head = grown(world)
        seen = look(memory, log, [LOG.verifier], int(time.time()))
        assert isinstance(seen, Seen)
        assert seen.head.size == head.size
        made = to_send(memory, int(time.time()))
        assert made is not None
        assert odile.post("/log/cosignatures", sent_by(made)).status == 201
        memory.note_sent(made.note)
    Checkpoint.objects.create(
        size=head.size + 1,
        root=bytes(32),
        key=head.key,
        note=str(signed(Head(LOG.name, head.size + 1, bytes(32)).body(), LOG)),
        signed_at=timezone.now(),
    )
    GivenOut.objects.create(size=head.size + 1)
    alarm = look(memory, log, [LOG.verifier], int(time.time()))
    assert isinstance(alarm, Alarm)
    assert alarm.kind == "unproven"


def revoke(world: World, number: int = 1, **body: int) -> Outcome:
    said = {"key": str(keepers_witness(number).verifier), **body}
    item = world.item("witness_revoked", world.odile.pk, said)
    return accept([item], Actor(keeper=world.odile.pk), world.now)[0]


def under(nobody: Api) -> list[int]:
    """Of the keeper's two witnesses, those with a line under the newest checkpoint."""
    keys = [LOG.verifier, *(keepers_witness(number).verifier for number in (1, 2))]
    opened = open_note(Client().get("/log/checkpoint").content, keys)
    names = [keepers_witness(number).name for number in (1, 2)]
    return [names.index(one.name) + 1 for one in opened.verified if one.name in names]


def test_a_revoked_witness_says_nothing_more_and_what_it_saw_before_stands(
    world: World, head: Checkpoint, odile: Api, nobody: Api
) -> None:
    old = head
    assert odile.post("/log/cosignatures", cosigned(old)).status == 201
    assert revoke(world).status == "accepted"
    new = grown(world)
    assert odile.post("/log/cosignatures", cosigned(new, keepers_witness(2))).status == 201
    late = odile.post("/log/cosignatures", cosigned(new))
    assert (late.status, "was revoked" in late.body["detail"]) == (403, True)
    (end,) = nobody.get("/log/witnesses").body["revoked"]
    assert end["size"] == end["position"] + 1 > old.size
    sizes = [one["size"] for one in nobody.get("/log/witnesses").body["heads"]]
    assert sizes == [new.size, old.size], "what it saw before it was revoked still counts"
    assert under(nobody) == [2]


def test_it_is_revoked_from_a_point_on_that_lies_back(
    world: World, head: Checkpoint, odile: Api, nobody: Api
) -> None:
    """A thief had it by then: what came in meanwhile is served and counted no more."""
    odile.post("/log/cosignatures", cosigned(head))
    new = grown(world)
    odile.post("/log/cosignatures", cosigned(new))
    assert under(nobody) == [1]
    assert revoke(world, size=new.size).status == "accepted"
    assert under(nobody) == []
    heads = nobody.get("/log/witnesses").body["heads"]
    assert [one["size"] for one in heads] == [head.size]
    (own,) = odile.get("/log/cosignatures").body["items"]
    assert (own["size"], own["revoked_from"]) == (new.size, new.size)


def test_only_its_keeper_revokes_it_once_and_not_from_the_future(
    world: World, head: Checkpoint, odile: Api, pim: Api
) -> None:
    odile.post("/log/cosignatures", cosigned(head))
    said = {"key": str(keepers_witness().verifier)}
    assert pim.get("/log/cosignatures").body["items"] == []
    for about in (world.pim, world.odile):
        item = world.item("witness_revoked", about.pk, said)
        assert code(accept([item], Actor(keeper=world.pim.pk), world.now)[0]) == "not_found"
    assert code(revoke(world, 2)) == "not_found"
    assert code(revoke(world, size=10**6)) == "out_of_range"
    assert revoke(world, size=0).status == "accepted"
    assert code(revoke(world)) == "not_now"


def test_revoked_keys_make_room_but_not_without_end(
    world: World, head: Checkpoint, odile: Api
) -> None:
    for number in range(1, MOST_KEYS + 1):
        odile.post("/log/cosignatures", cosigned(head, keepers_witness(number)))
    more = cosigned(head, keepers_witness(MOST_KEYS + 1))
    assert odile.post("/log/cosignatures", more).status == 403
    revoke(world)
    assert odile.post("/log/cosignatures", more).status == 201
    made = {"keeper": world.odile.pk, "registered_at": world.now}
    rows = [Witness(key=f"k{number}", **made) for number in range(MOST_EVER - MOST_KEYS - 1)]
    Witness.objects.bulk_create(rows)
    revoke(world, 2)
    full = odile.post("/log/cosignatures", cosigned(head, keepers_witness(MOST_EVER + 1)))
    assert full.status == 403
