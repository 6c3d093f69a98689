"""The memory in etcd: one signer of all hosts, and none that woke too late."""

import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator

import pytest
from django.conf import LazySettings
from tests.ledger.growing import NOW, STATED, append
from tests.ledger.setting_back import sign_and_forget
from tests.waiting import ENOUGH, eventually, killed_at_the_end

from scalewitness.domain.errors import Busy, Fenced
from scalewitness.ledger.models import Checkpoint, GivenOut
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.services import memory_etcd
from scalewitness.ledger.services.fencing import look_at_start
from scalewitness.ledger.services.memory_etcd import EtcdStore
from scalewitness.ledger.services.signing import sign_checkpoint
from stack.ready import LOOPBACK, free_port, http_ok

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(
        shutil.which("etcd") is None, reason="needs etcd (apt-get install etcd-server)"
    ),
]

HOLDS_AND_SAYS_SO = """
import sys
from scalewitness.ledger.services import memory_etcd
memory_etcd.LEASE = int(sys.argv[2])
with memory_etcd.EtcdStore(sys.argv[1]).alone() as lease:
    print("has it", flush=True)
    sys.stdin.readline()
    lease.replace("of one that woke", None)
"""


@pytest.fixture(scope="module")
def member(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Its address."""
    client, peer = free_port(), free_port()
    folder = tmp_path_factory.mktemp("etcd")
    options = {
        "--data-dir": str(folder / "data"),
        "--listen-client-urls": f"http://{LOOPBACK}:{client}",
        "--advertise-client-urls": f"http://{LOOPBACK}:{client}",
        "--listen-peer-urls": f"http://{LOOPBACK}:{peer}",
        "--initial-advertise-peer-urls": f"http://{LOOPBACK}:{peer}",
        "--initial-cluster": f"default=http://{LOOPBACK}:{peer}",
    }
    argv = ["etcd", *(word for pair in options.items() for word in pair)]
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(argv, stdout=log, stderr=log)
    with killed_at_the_end(process):
        eventually(lambda: http_ok(f"http://{LOOPBACK}:{client}/health")(), "etcd that answers")
        yield f"{LOOPBACK}:{client}"


@pytest.fixture
def url(
    member: str,
    request: pytest.FixtureRequest,
    settings: LazySettings,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[str]:
    """Of a memory that nobody wrote to yet; leases are short."""
    made: list[EtcdStore] = []
    make = EtcdStore.__init__

    def noted(store: EtcdStore, url: str) -> None:
        make(store, url)
        made.append(store)

    monkeypatch.setattr(EtcdStore, "__init__", noted)
    monkeypatch.setattr(memory_etcd, "LEASE", 2)
    # One that nothing listens at comes first, as after the loss of a host.
    settings.LOG_MEMORY = f"etcd://{LOOPBACK}:{free_port()},{member}/{request.node.name}"
    yield settings.LOG_MEMORY
    for store in made:
        store._line.close()


def holder(url: str, lease: int = 2) -> "subprocess.Popen[str]":
    """Another process, which may sign for so many seconds and does not go on."""
    code = f"import sys; sys.path[:] = {sys.path!r}\n{HOLDS_AND_SAYS_SO}"
    begun = subprocess.Popen(
        [sys.executable, "-c", code, url, str(lease)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert begun.stdout is not None
    assert begun.stdout.readline() == "has it\n"
    return begun


def test_the_latest_checkpoint_is_kept_and_a_database_set_back_is_fenced(url: str) -> None:
    append(3)
    note = sign_checkpoint(NOW).note
    assert EtcdStore(url).read() == note.encode()
    sign_and_forget(2)
    look_at_start(NOW)
    assert standing_fence() is not None
    with pytest.raises(Fenced):
        append(1)


def test_nobody_signs_while_another_may_and_whoever_was_killed_does_not_for_long(url: str) -> None:
    append(3)
    other = holder(url, lease=10)  # a busy machine may take some to try
    with killed_at_the_end(other):
        with pytest.raises(Busy):
            sign_checkpoint(NOW)
        assert not Checkpoint.objects.exists()
        other.kill()
        assert eventually(signed, "the end of the lease").size == 3 + STATED


def signed() -> Checkpoint | None:
    try:
        return sign_checkpoint(NOW)
    except Busy:
        return None


def test_who_was_stopped_for_longer_than_its_lease_remembers_nothing(url: str) -> None:
    append(3)
    other = holder(url)
    with killed_at_the_end(other):
        other.send_signal(signal.SIGSTOP)
        note = eventually(signed, "the end of the lease").note
        other.send_signal(signal.SIGCONT)
        _, said = other.communicate("\n", timeout=ENOUGH)
    assert said.rstrip().endswith("send it again")  # Busy, in its words
    assert EtcdStore(url).read() == note.encode()


def test_a_lease_lost_in_the_middle_gives_out_nothing(
    url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The signature is made and committed, and its maker was away in between."""
    append(3)
    replace = memory_etcd.Lease.replace

    def after_a_while(lease: memory_etcd.Lease, note: str, aside: str | None) -> None:
        eventually(lambda: taken_by_another(url), "the end of the lease")
        replace(lease, note, aside)

    with monkeypatch.context() as patch:
        patch.setattr(memory_etcd.Lease, "replace", after_a_while)
        with pytest.raises(Busy):
            sign_checkpoint(NOW)
    made = Checkpoint.objects.get()
    assert not GivenOut.objects.exists()
    assert EtcdStore(url).read() is None
    assert sign_checkpoint(NOW) == made
    assert GivenOut.objects.get().size == made.size


def taken_by_another(url: str) -> bool:
    try:
        with EtcdStore(url).alone():
            return True
    except Busy:
        return False


def test_without_most_members_nothing_is_signed_nor_taken(url: str, settings: LazySettings) -> None:
    append(3)
    settings.LOG_MEMORY = f"etcd://{LOOPBACK}:{free_port()},{LOOPBACK}:{free_port()}"
    with pytest.raises(Busy):
        sign_checkpoint(NOW)
    with pytest.raises(Busy):
        append(1)
