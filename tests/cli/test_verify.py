"""``scalewitness verify`` as a process of its own: what it says and how it ends."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.domain.translog.reference import path_of, root_of

from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.key_changes import changed, changes_from
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.leaf import leaf_bytes
from scalewitness.domain.translog.notes import signature_line, signed
from scalewitness.domain.translog.receipts import Receipt
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness_cli.memory import Memory
from scalewitness_cli.revoked import FILE

pytestmark = pytest.mark.one_in(5)

LOG = Signer("record.example/log", KeyType.ED25519, bytes(range(32)))
OLD = Signer("record.example/log", KeyType.ED25519, bytes(range(1, 33)))
WITNESS = Signer("quiet.example", KeyType.COSIGNATURE, bytes(range(2, 34)))


def receipt(signer: Signer = LOG, conclusion: str = "female") -> bytes:
    entries = [
        leaf_bytes(
            kind="call_made",
            id=f"01890000-0000-7000-8000-{number:012x}",
            by="01890000-0000-7000-8000-0000000000aa",
            device=None,
            at="2026-11-25T10:00:00.000Z",
            about="01890000-0000-7000-8000-0000000000bb",
            body={"conclusion": conclusion, "observed": {"method": "probing"}},
            sig=None,
        )
        for number in range(5)
    ]
    hashes = [leaf_hash(entry) for entry in entries]
    note = signed(Checkpoint(LOG.name, 5, root_of(hashes)).body(), signer)
    note = note.with_lines([signature_line(note.text, WITNESS, 1_800_000_000)])
    return str(Receipt(entries[2], 2, tuple(path_of(2, hashes)), note)).encode()


def environment() -> dict[str, str]:
    sources = (str(Path(__file__).parents[2] / part) for part in ("server", "clients"))
    return {"PATH": os.environ["PATH"], "PYTHONUTF8": "1", "PYTHONPATH": os.pathsep.join(sources)}


class Machine:
    """A home folder with the command in it, and no network to speak of."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.keys = home / ".config" / "scalewitness" / "keys"

    def trust(self, *lines: str) -> None:
        self.keys.parent.mkdir(parents=True, exist_ok=True)
        self.keys.write_text("\n".join(lines), encoding="utf-8")

    def run(self, *arguments: str) -> "subprocess.CompletedProcess[str]":
        env = environment() | {"HOME": str(self.home)}
        return subprocess.run(
            [sys.executable, "-m", "scalewitness_cli", "verify", *arguments],
            cwd=self.home, env=env, capture_output=True, text=True, check=False,
        )  # fmt: skip


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    machine = Machine(tmp_path)
    (tmp_path / "a.receipt").write_bytes(receipt())
    return machine


def test_a_receipt_holds_against_a_key_given(machine: Machine) -> None:
    done = machine.run("a.receipt", "--key", str(LOG.verifier))
    assert done.returncode == 0, done.stderr
    assert "a.receipt: holds." in done.stdout
    assert "A call by probing; the conclusion: female." in done.stdout
    assert "position 2 of the log record.example/log" in done.stdout
    assert "It does not show: that what was recorded is true" in done.stdout
    assert "no witness you trust" in done.stdout


def test_keys_are_kept_in_a_file_and_witnesses_are_named(machine: Machine) -> None:
    machine.trust("# the log and a friend's witness", str(LOG.verifier), str(WITNESS.verifier))
    done = machine.run("a.receipt")
    assert done.returncode == 0
    assert "Seen by the witness quiet.example at 2027-01-15T08:00:00Z" in done.stdout
    assert "no witness you trust" not in done.stdout


@pytest.mark.parametrize(("size", "counts"), [(6, True), (5, False), (3, False)])
@pytest.mark.some(1)
def test_a_witness_that_was_revoked_by_then_vouches_for_nothing(
    machine: Machine, size: int, counts: bool
) -> None:
    machine.trust(str(LOG.verifier), str(WITNESS.verifier))
    memory = Memory(machine.home / ".local" / "state" / "scalewitness", LOG.name)
    with memory.alone():
        (memory.folder / FILE).write_text(json.dumps({str(WITNESS.verifier): size}))
    said = machine.run("a.receipt").stdout
    assert ("Seen by the witness quiet.example" in said) == counts
    assert (f"which its keeper revoked from size {size} on" in said) == (not counts)
    assert ("no witness you trust" in said) == (not counts)


def test_an_older_key_of_the_same_log_still_counts(machine: Machine) -> None:
    machine.trust(str(OLD.verifier), str(LOG.verifier))
    (machine.home / "old.receipt").write_bytes(receipt(OLD))
    assert machine.run("a.receipt", "old.receipt").returncode == 0


def test_without_the_logs_key_nothing_is_judged(machine: Machine) -> None:
    done = machine.run("a.receipt")
    assert done.returncode == 2
    assert "whose public key is not known here" in done.stdout


def test_an_altered_receipt_does_not_hold_and_says_why(machine: Machine) -> None:
    whole = receipt()
    other = receipt(conclusion="male")
    forged = b"\n".join([*whole.split(b"\n")[:1], other.split(b"\n")[1], *whole.split(b"\n")[2:]])
    (machine.home / "b.receipt").write_bytes(forged)
    done = machine.run("a.receipt", "b.receipt", "--key", str(LOG.verifier))
    assert done.returncode == 1
    assert "a.receipt: holds." in done.stdout
    assert "b.receipt: DOES NOT HOLD." in done.stdout
    assert "The entry is not in the log that was signed" in done.stdout


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"c2sp.org/tlog-proof@v1\n", b"x" * 400_000])
@pytest.mark.some(1)
def test_other_files_do_not_hold(machine: Machine, content: bytes) -> None:
    (machine.home / "odd").write_bytes(content)
    done = machine.run("odd", "--key", str(LOG.verifier))
    assert (done.returncode, done.stderr) == (1, "")


def test_programs_read_json(machine: Machine) -> None:
    done = machine.run("a.receipt", "--json", "--key", str(LOG.verifier))
    found = json.loads(done.stdout)
    assert found["holds"] is True
    assert found["body"]["conclusion"] == "female"
    assert (found["position"], found["size"]) == (2, 5)


@pytest.mark.parametrize("arguments", [[], ["missing.receipt"], ["a.receipt", "--key", "nonsense"]])
@pytest.mark.some(1)
def test_wrong_use_ends_with_two(machine: Machine, arguments: list[str]) -> None:
    done = machine.run(*arguments)
    assert done.returncode == 2
    assert "Error:" in done.stderr


def test_a_damaged_keys_file_is_named(machine: Machine) -> None:
    machine.trust(str(LOG.verifier), "nonsense")
    done = machine.run("a.receipt")
    assert done.returncode == 2
    assert "keys, line 2:" in done.stderr


def test_it_runs_without_django(machine: Machine) -> None:
    code = (
        "import sys; import scalewitness_cli.main; "
        "servers = {'django', 'rest_framework', 'celery', 'numpy'}; "
        "sys.exit(bool(servers & {name.partition('.')[0] for name in sys.modules}))"
    )
    done = subprocess.run([sys.executable, "-c", code], env=environment(), check=False)
    assert done.returncode == 0


def test_a_receipt_under_a_key_given_up_before_does_not_hold(machine: Machine) -> None:
    """Once this machine followed the log to another key."""
    memory = Memory(machine.home / ".local" / "state" / "scalewitness", LOG.name)
    (change,) = changes_from(
        [OLD.verifier], [str(changed(Checkpoint(LOG.name, 4, bytes(32)), OLD, LOG))]
    )
    with memory.alone():
        memory.keep_change(change)
    (machine.home / "old.receipt").write_bytes(receipt(OLD))
    machine.trust(str(OLD.verifier))
    assert machine.run("a.receipt").returncode == 0  # the key that follows need not be given
    done = machine.run("old.receipt")
    assert (done.returncode, "which the log gave up at 4" in done.stdout) == (1, True)
