"""The memory in etcd: one signer of all hosts, and none that woke too late."""

import shutil
import signal
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.conf import LazySettings
from tests.ledger.growing import NOW, STATED, append
from tests.ledger.setting_back import sign_and_forget
from tests.waiting import ENOUGH, eventually, killed_at_the_end

from scalewitness.domain.errors import Busy, Fenced
from scalewitness.ledger.models import Checkpoint, GivenOut
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.services import memory, memory_etcd
from scalewitness.ledger.services.fencing import look_at_start
from scalewitness.ledger.services.memory import remembered_as_it_stands
from scalewitness.ledger.services.memory_etcd import EtcdStore
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.operating.asked import Asked
from scalewitness.operating.looking import looked
from stack.authority import Authority
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


@contextmanager
def etcd(folder: Path, scheme: str, *more: str) -> Iterator[str]:
    """One member; its address."""
    client, peer = free_port(), free_port()
    options = {
        "--data-dir": str(folder / "data"),
        "--listen-client-urls": f"{scheme}://{LOOPBACK}:{client}",
        "--advertise-client-urls": f"{scheme}://{LOOPBACK}:{client}",
        "--listen-peer-urls": f"http://{LOOPBACK}:{peer}",
        "--initial-advertise-peer-urls": f"http://{LOOPBACK}:{peer}",
        "--initial-cluster": f"default=http://{LOOPBACK}:{peer}",
    }
    argv = ["etcd", *(word for pair in options.items() for word in pair), *more]
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(argv, stdout=log, stderr=log)
    with killed_at_the_end(process):
        yield f"{LOOPBACK}:{client}"


@pytest.fixture(scope="module")
def member(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Its address."""
    with etcd(tmp_path_factory.mktemp("etcd"), "http") as address:
        eventually(lambda: http_ok(f"http://{address}/health")(), "etcd that answers")
        yield address


@pytest.fixture
def short_leases(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """And connections that are closed at the end."""
    made: list[EtcdStore] = []
    make = EtcdStore.__init__

    def noted(store: EtcdStore, url: str, trusts: ssl.SSLContext | None = None) -> None:
        make(store, url, trusts)
        made.append(store)

    monkeypatch.setattr(EtcdStore, "__init__", noted)
    monkeypatch.setattr(memory_etcd, "LEASE", 2)
    yield
    for store in made:
        store._line.close()


@pytest.fixture
def url(
    member: str, request: pytest.FixtureRequest, settings: LazySettings, short_leases: None
) -> str:
    """Of a memory that nobody wrote to yet."""
    # One that nothing listens at comes first, as after the loss of a host.
    settings.LOG_MEMORY = f"etcd://{LOOPBACK}:{free_port()},{member}/{request.node.name}"
    return str(settings.LOG_MEMORY)


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


def checked() -> str:
    """What `check` finds of it."""
    (result,) = looked(Asked(), ["memory"])
    return result.state


def test_by_tls_only_who_has_a_certificate_reads_and_writes(
    tmp_path: Path, settings: LazySettings, short_leases: None, caplog: pytest.LogCaptureFixture
) -> None:
    """And it speaks to nobody whom its own authority does not vouch for."""
    (tmp_path / "other").mkdir()
    ours, other = Authority(tmp_path), Authority(tmp_path / "other")
    server = str(ours.issue("server.pem", [LOOPBACK]))
    settings.LOG_MEMORY_CERTIFICATE = str(ours.issue("record.pem", ["record.example"]))
    settings.LOG_MEMORY_CA = str(ours.certificate)
    append(3)
    tls = ("--cert-file", server, "--key-file", server, "--trusted-ca-file", settings.LOG_MEMORY_CA)
    with etcd(tmp_path, "https", *tls, "--client-cert-auth") as address:
        settings.LOG_MEMORY = f"etcds://{address}/record"
        note = eventually(signed, "etcd that answers").note
        assert remembered_as_it_stands() == note
        assert checked() == "right"
        for name, value in (
            ("LOG_MEMORY_CERTIFICATE", ""),
            ("LOG_MEMORY_CERTIFICATE", str(other.issue("record.pem", ["record.example"]))),
            ("LOG_MEMORY_CA", str(other.certificate)),
            ("LOG_MEMORY", f"etcds://{address.replace(LOOPBACK, 'localhost')}/record"),
        ):
            before = getattr(settings, name)
            setattr(settings, name, value)
            memory._etcd.cache_clear()
            caplog.clear()
            assert checked() == "wrong", name
            assert "memory_does_not_answer" in caplog.text, name
            setattr(settings, name, before)
        memory._etcd.cache_clear()
        assert remembered_as_it_stands() == note
