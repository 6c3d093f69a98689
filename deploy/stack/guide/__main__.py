"""Follow the operator's guides on a bare Debian: ``./deploy/try_guide``.

Makes a Debian that has nothing but what boots it, boots it with systemd-nspawn, and types there
what the guides say to type, block by block, with a mail provider of its own at the far end. Prints
each step with its seconds, and ends with 1 at the first that is not done.

It takes root, some Debian packages (it says which), a quarter of an hour, and ports 25, 80, 443,
587, 5432, 6379 and 8000 of this machine, whose network the bare Debian shares. What is committed is
what is installed there.
"""

import argparse
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from stack.authority import make_authority
from stack.guide.bare import SHELL, BareDebian, NotBooted, Session, is_root, missing_tools
from stack.guide.blocks import blocks_of, filled_in
from stack.guide.far_end import SUBMISSION, FarEnd
from stack.guide.prying import Prying
from stack.guide.pushing import Pusher
from stack.guide.steps import NotDone, Steps, require
from stack.local import ROOT
from stack.ready import port_is_free

GUIDE = ROOT / "deploy" / "INSTALL.md"
LAST_OF_SETTING_UP = "ready"
PORTS = (25, 80, 443, SUBMISSION, 5432, 6379, 8000)
NAME, PROVIDER = "record.example", "smtp.provider.example"
RELAY_PASSWORD, PASSWORD = "from your provider", "at least eight characters"
"""As the guide has them."""
REPOSITORY = Path("/srv/scalewitness.git")
OLD, NEW = "v0.2", "v0.3"
"""Tags of this commit, and of one that says nothing else, for an upgrade."""
VALUES = {"TLS": "internal", "SOURCE": str(REPOSITORY), "VERSION": OLD}
"""What the guide's reader fills in here; everything else stands as it is in the guide."""


class Trial(Steps):
    """The bare Debian, and whoever types in it."""

    def __init__(self, folder: Path, bare: BareDebian, far_end: FarEnd, prying: Prying) -> None:
        super().__init__()
        self.folder, self.bare, self.far_end, self.prying = folder, bare, far_end, prying
        self.shell: Session | None = None

    def type(self, name: str, block: str) -> None:
        if self.shell is None or not self.shell.type(name, block):
            raise NotDone(f"“{name}” of the guide did not end well")


def main(arguments: Sequence[str] | None = None) -> int:
    """Returns the exit status."""
    given = _parse(arguments)
    if refusal := _cannot():
        print(refusal, file=sys.stderr)
        return 2
    given.folder.mkdir(parents=True, exist_ok=True)
    trusted, context = make_authority(given.folder, PROVIDER)
    far_end = FarEnd(PROVIDER, "record@provider.example", RELAY_PASSWORD, context)
    folder = given.folder.resolve()
    trial = Trial(folder, BareDebian(folder), far_end, Prying([RELAY_PASSWORD, PASSWORD]))
    trial.prying.start()
    listening = far_end.start()
    try:
        _follow(trial, trusted)
    except (NotDone, NotBooted, subprocess.CalledProcessError) as fault:
        print(f"\nNot done: {fault}. The last of {trial.folder / 'typed.log'}:", file=sys.stderr)
        print(_end_of(trial.folder / "typed.log"), file=sys.stderr)
        if given.keep:
            input("The bare Debian goes on until you press Enter. ")
        return 1
    finally:
        trial.prying.stop()
        listening.stop(no_assert=True)
        if trial.shell is not None:
            trial.shell.end()
        trial.bare.stop()
    print(f"All of it: {sum(trial.seconds.values()):.0f} s")
    return 0


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="./deploy/try_guide",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--folder", type=Path, default=ROOT / ".run" / "guide", help="of its own (.run/guide)"
    )
    parser.add_argument("--keep", action="store_true", help="wait at a step that was not done")
    return parser.parse_args(arguments)


def _cannot() -> str:
    """Why it cannot be tried here, or nothing."""
    if not is_root():
        return "This takes root: it makes and boots another Debian."
    if missing := missing_tools():
        return f"This needs: apt-get install --no-install-recommends {' '.join(missing)}"
    if taken := [str(port) for port in PORTS if not port_is_free(port)]:
        return f"Something listens here already: port {', '.join(taken)}."
    return ""


def _follow(trial: Trial, trusted: Path) -> None:
    with trial.step("A bare Debian, booted"):
        trial.bare.make([NAME, PROVIDER])
        there = trial.bare.root / "usr/local/share/ca-certificates/provider.crt"
        there.parent.mkdir(parents=True, exist_ok=True)
        there.write_bytes(trusted.read_bytes())
        _publish(trial.bare.root / REPOSITORY.relative_to("/"))
        trial.bare.boot()
    with (trial.folder / "typed.log").open("wb") as written:
        argv = trial.bare.command(*SHELL)
        trial.shell = Session(argv, written, trial.bare.root / "root", "/root")
        blocks = blocks_of(GUIDE)
        for name, block in blocks.items():
            with trial.step(name):
                _one(trial, name, block)
            if name == LAST_OF_SETTING_UP:
                with trial.step("all of that once more, as after a stop"):
                    _again(trial, blocks)
        with trial.step("the power is cut, and comes back"):
            _power_cut(trial)


def _again(trial: Trial, blocks: Mapping[str, str]) -> None:
    """Who was interrupted types again, and may not remember how far they had come."""
    for name, block in blocks.items():
        trial.type(name, filled_in(block, VALUES) if name == "values" else block)
        if name == LAST_OF_SETTING_UP:
            return


def _one(trial: Trial, name: str, block: str) -> None:
    """A block, and whether what it says has come about can be seen from outside."""
    around: Mapping[str, Callable[[], None]] = {
        "letter": lambda: require(
            any(to.startswith("nobody") for to, _ in trial.far_end.taken), "no letter came"
        ),
        "push": lambda: require(_is_private(trial), "others can read a secret"),
    }
    if name == "upgrade":
        _under_load(trial, block)
        return
    trial.type(name, filled_in(block, VALUES) if name == "values" else block)
    if name in around:
        around[name]()


def _under_load(trial: Trial, block: str) -> None:
    """While somebody pushes: nothing accepted may be lost or doubled."""
    if trial.shell is None:
        raise NotDone("there is no shell")
    context = ssl.create_default_context(cafile=_authority_of(trial))
    token, animal = trial.shell.value("TOKEN"), trial.shell.value("ANIMAL")
    pusher = Pusher(NAME, token, animal, context)
    pusher.start()
    trial.type("upgrade", block)
    pusher.stop()
    print(f"({len(pusher.accepted)} taken, answers {dict(pusher.answers)})", end=" ")
    lost = pusher.lost_or_doubled()
    strange = set(pusher.answers) - {"200", "503, come again"}
    require(not lost, f"{len(lost)} facts were lost or doubled")
    require(not strange, f"a client was answered {strange}")


def _power_cut(trial: Trial) -> None:
    """Everything comes up by itself, in whatever order it must."""
    trial.bare.kill()
    trial.bare.boot()
    deadline = time.monotonic() + 120
    wanted = ["curl", "--silent", "--fail", f"https://{NAME}/health/ready"]
    while "ok" not in trial.bare.says(*wanted):
        require(time.monotonic() < deadline, "the record did not come back")
        time.sleep(1)
    for unit in ("web", "worker", "beat"):
        state = trial.bare.says("systemctl", "is-active", f"scalewitness-{unit}")
        require(state == "active", f"scalewitness-{unit} is {state}")


def _is_private(trial: Trial) -> bool:
    """Whether other accounts are kept from every file with a secret, and none was ever seen in a
    command line."""
    files = ("scalewitness/env", "scalewitness/env.owner", "postfix/relay", "postfix/relay.db")
    there = all(trial.bare.says("cat", f"/etc/{name}") for name in files)
    others = ("runuser", "-u", "nobody", "--", "cat")
    read = any(trial.bare.says(*others, f"/etc/{name}") for name in files)
    return there and not read and not trial.prying.seen


def _authority_of(trial: Trial) -> Path:
    return trial.bare.root / "usr/local/share/ca-certificates/scalewitness-trial.crt"


def _publish(there: Path) -> None:
    """This checkout's last commit as a repository with two versions of it."""
    there.parent.mkdir(parents=True, exist_ok=True)
    git = ["git", "-C", str(there)]
    subprocess.run(["git", "clone", "--quiet", "--bare", "--no-local", ROOT, there], check=True)
    subprocess.run([*git, "tag", "--force", OLD, "HEAD"], check=True, capture_output=True)
    who = ["-c", "user.name=Trial", "-c", "user.email=trial@record.example"]
    commit = [*git, *who, "commit-tree", "HEAD^{tree}", "-p", "HEAD", "-m", "Another version"]
    made = subprocess.run(commit, check=True, capture_output=True, text=True).stdout.strip()
    subprocess.run([*git, "tag", "--force", NEW, made], check=True, capture_output=True)


def _end_of(log: Path) -> str:
    if not log.exists():
        return ""
    return "\n".join(log.read_text(errors="replace").splitlines()[-25:])


if __name__ == "__main__":
    sys.exit(main())
