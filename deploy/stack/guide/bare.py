"""A bare Debian that has booted in a folder, and a root's shell in it.

It shares this machine's network, has its own processes, files and units, and is held by
systemd-nspawn. Where packages come from, it is told from this machine's own settings while it
is made; none of that is kept.
"""

import os
import re
import shutil
import signal
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path
from typing import IO

RELEASE = "bookworm"
BEYOND_BARE = "systemd-sysv,dbus"
"""What any Debian that boots has, beside apt."""
TOOLS = {"mmdebstrap": "mmdebstrap", "systemd-nspawn": "systemd-container", "nsenter": "util-linux"}
"""By the package that has them."""
SETTINGS = (
    "etc/apt/apt.conf.d",
    "etc/apt/auth.conf.d",
    "etc/pip.conf",
    "etc/xdg/pip",
    "root/.config/pip",
    "usr/local/share/ca-certificates",
)
"""Of this machine, for the way to its packages."""
GROUP = "scalewitness-guide"
# nspawn wants one tree of control groups, which this machine may not have where it looks.
IN_A_GROUP = f"""
umount --lazy --recursive /sys/fs/cgroup
mount -t cgroup2 none /sys/fs/cgroup
mkdir -p /sys/fs/cgroup/{GROUP}
echo $$ > /sys/fs/cgroup/{GROUP}/cgroup.procs
exec "$@" </dev/null
"""
SHELL = ("bash", "--noprofile", "--norc", "-eo", "pipefail")
LONGEST = 120.0
"""Seconds for a boot or a shutdown."""


class NotBooted(Exception):
    """It did not come up; the message says what it said."""


def missing_tools() -> list[str]:
    """Debian packages that are to be installed first."""
    return sorted({package for tool, package in TOOLS.items() if shutil.which(tool) is None})


class BareDebian:
    """In ``folder``: its files in ``root``, its first processes' words in ``console``."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "root"
        self.console = folder / "console"
        self._archive = folder / f"{RELEASE}.tar"
        self._held: subprocess.Popen[bytes] | None = None

    def make(self, hosts: Sequence[str]) -> None:
        """Anew, from packages; ``hosts`` lead to itself."""
        if not self._archive.exists():
            self._fetch()
        subprocess.run(["rm", "-rf", "--one-file-system", self.root], check=True)
        self.root.mkdir()
        subprocess.run(["tar", "-C", self.root, "-xf", self._archive], check=True)
        for name in SETTINGS:
            self._copy(Path("/") / name, self.root / name)
        (self.root / "etc/hostname").write_text("bare\n")
        (self.root / "etc/hosts").write_text(
            f"127.0.0.1 localhost {' '.join(hosts)}\n::1 localhost\n"
        )

    def boot(self) -> None:
        """Returns once it has started what it starts.

        Raises:
            NotBooted: it did not within its time.
        """
        argv = ["unshare", "--mount", "--propagation", "private", "sh", "-ec", IN_A_GROUP, "sh"]
        argv += ["systemd-nspawn", "--quiet", "--register=no", "--keep-unit", "--boot"]
        argv += [f"--directory={self.root}", "--machine=bare", "--resolv-conf=copy-host"]
        argv += ["--console=pipe", *(f"--bind-ro={path}" for path in package_folders())]
        with self.console.open("ab") as console:
            self._held = subprocess.Popen(argv, stdout=console, stderr=console)
        deadline = time.monotonic() + LONGEST
        while time.monotonic() < deadline and self._held.poll() is None:
            if self._leader() and self._has_started():
                return
            time.sleep(0.5)
        raise NotBooted(self.console.read_text(errors="replace")[-2000:])

    def stop(self) -> None:
        """Shut it down as its power button would."""
        if self._held is not None and self._held.poll() is None:
            self._held.terminate()
            try:
                self._held.wait(LONGEST)
            except subprocess.TimeoutExpired:
                self.kill()
        self._held = None

    def kill(self) -> None:
        """As a power cut would: its first process goes, and with it all others."""
        if self._held is not None:
            os.kill(self._leader(), signal.SIGKILL)
            self._held.wait(LONGEST)
        self._held = None

    def command(self, *argv: str) -> list[str]:
        """What runs ``argv`` in it, as root and with no settings of this machine's."""
        enter = ["nsenter", "--target", str(self._leader()), "--all"]
        clean = ["env", "-i", "HOME=/root", "LANG=C.UTF-8", "TERM=dumb"]
        return [*enter, *clean, "PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin", *argv]

    def says(self, *argv: str) -> str:
        """What a command in it prints; how it ends makes no difference."""
        answer = subprocess.run(self.command(*argv), capture_output=True, check=False)
        return answer.stdout.decode(errors="replace").strip()

    def _fetch(self) -> None:
        sources = [
            *Path("/etc/apt").glob("sources.list"),
            *Path("/etc/apt/sources.list.d").glob("debian*.list"),
            *Path("/etc/apt/sources.list.d").glob("debian*.sources"),
        ]
        making = self._archive.with_suffix(".making.tar")
        argv = ["mmdebstrap", "--quiet", "--variant=minbase", f"--include={BEYOND_BARE}", RELEASE]
        subprocess.run([*argv, making, *sources], check=True)
        making.rename(self._archive)

    def _copy(self, there: Path, here: Path) -> None:
        if there.is_dir():
            shutil.copytree(there, here, dirs_exist_ok=True)
        elif there.exists():
            here.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(there, here)

    def _leader(self) -> int:
        """Its first process as this machine knows it, or 0."""
        if self._held is None:
            return 0
        children = Path(f"/proc/{self._held.pid}/task/{self._held.pid}/children")
        found = children.read_text().split() if children.exists() else []
        return int(found[0]) if found else 0

    def _has_started(self) -> bool:
        return self.says("systemctl", "is-system-running") in {"running", "degraded"}


def package_folders() -> list[str]:
    """Folders of this machine that pip's settings take packages from."""
    argv = ["python3", "-m", "pip", "config", "list"]
    settings = subprocess.run(argv, capture_output=True, text=True, check=False).stdout
    # An index's own folder has its files beside it.
    named = [str(Path(one).parent) for one in re.findall(r"file://(/[\w/.-]+)", settings)]
    named += re.findall(r"=\'(/[\w/.-]+)", settings)
    return sorted({path for path in named if Path(path).is_dir()})


class Session:
    """Root's shell: what one block sets, the next one has."""

    def __init__(self, argv: Sequence[str], written: IO[bytes], folder: Path, there: str) -> None:
        """``argv`` starts bash, and what it says as errors is ``written``. Blocks are files of
        ``folder``, which the shell knows as ``there``."""
        self._shell = subprocess.Popen(
            argv, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=written, cwd="/"
        )
        self._written, self._folder, self._there = written, folder, there

    def type(self, name: str, block: str) -> bool:
        """Whether each of its commands ended well. It is read from a file, so that no program
        takes what is typed next for its input."""
        file = self._folder / f"{name}.sh"
        file.write_text(block)
        file.chmod(0o600)
        done = f"-- {name} is done --"
        shell = self._shell
        if shell.stdin is None or shell.stdout is None:
            return False
        # What it said last may not have ended its line.
        shell.stdin.write(
            f". {self._there}/{file.name} </dev/null\nprintf '\\n%s\\n' '{done}'\n".encode()
        )
        shell.stdin.flush()
        for line in shell.stdout:
            if line.strip() == done.encode():
                return True
            self._written.write(line)
            self._written.flush()
        return False

    def value(self, name: str) -> str:
        """Of one of its variables."""
        shell = self._shell
        if shell.stdin is None or shell.stdout is None:
            return ""
        shell.stdin.write(f'echo "-- ${name}"\n'.encode())
        shell.stdin.flush()
        return shell.stdout.readline().decode().strip().removeprefix("-- ")

    def end(self) -> None:
        self._shell.kill()
        self._shell.wait()


def is_root() -> bool:
    return os.geteuid() == 0
