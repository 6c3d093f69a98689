"""The host: its clock, its disks, what is kept on them."""

import shutil
import socket
import struct
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from time import time
from typing import Final

from django.conf import settings
from django.db import connection

from scalewitness.domain.errors import Busy
from scalewitness.ledger.services.memory import remembered_as_it_stands
from scalewitness.monitoring.backups import (
    DRILL_WITHIN,
    Attempt,
    NotKnown,
    attempts,
    is_configured,
)
from scalewitness.operating.asked import Asked
from scalewitness.operating.database import is_here
from scalewitness.operating.results import Result

MOST_OFF: Final = 2.0
"""Seconds that two clocks may differ: moments of the record are told to the second (our
judgement)."""
LEAST_FREE: Final = 0.1
LEAST_BYTES: Final = 2**30
"""Of a disk; below either it is nearly full (our judgement)."""
DATABASE_FOLDER: Final = Path("/var/lib/postgresql")
"""Debian's."""
BACKUPS_GUIDE: Final = "see deploy/BACKUPS.md"
NTP_EPOCH: Final = 2_208_988_800
"""Seconds from 1900 to 1970 (RFC 5905)."""


def clock(asked: Asked) -> Iterator[Result]:
    """Against the database's, where that is another host's, and against one that is right."""
    if not is_here():
        before = time()
        with connection.cursor() as cursor:
            cursor.execute("SELECT extract(epoch FROM clock_timestamp())::float8")
            theirs = cursor.fetchone()[0]
        yield _differs(theirs - (before + time()) / 2, "the database's host")
    try:
        if asked.ntp:
            yield _differs(_ntp_offset(asked.ntp), asked.ntp)
        elif shutil.which("chronyc"):
            yield _by_chrony()
        elif shutil.which("timedatectl"):
            yield _by_systemd()
        else:
            todo = "give --ntp HOST"
            yield Result("clock", "unsure", "there is nothing to compare it with", todo)
    except (OSError, ValueError, struct.error, subprocess.SubprocessError) as fault:
        words = f"nothing here can compare it ({type(fault).__name__})"
        yield Result("clock", "unsure", words, "give --ntp HOST")


def _differs(offset: float, whose: str) -> Result:
    if abs(offset) > MOST_OFF:
        way = "slow" if offset > 0 else "fast"
        words = f"it is {abs(offset):.1f} s {way} beside that of {whose}"
        return Result("clock", "wrong", words, "let chrony or systemd-timesyncd set both")
    return Result("clock", "right", f"it is within {MOST_OFF:.0f} s of that of {whose}")


def _ntp_offset(host: str) -> float:
    """Seconds by which the other clock is ahead, by one SNTP question (RFC 4330)."""
    name, _, port = host.partition(":")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.settimeout(5)
        sent = time()
        line.sendto(b"\x23" + bytes(47), (name, int(port or 123)))
        answer, got = line.recv(48), time()
    seconds, fraction = struct.unpack("!II", answer[40:48])
    return float(seconds - NTP_EPOCH + fraction / 2**32 - (sent + got) / 2)


def _by_chrony() -> Result:
    fields = _printed("chronyc", "-c", "tracking").strip().split(",")
    if fields[-1] == "Not synchronised":
        return Result("clock", "wrong", "chrony has nothing to set it by", "see chronyc sources")
    return _differs(-float(fields[4]), "chrony's sources")


def _by_systemd() -> Result:
    if _printed("timedatectl", "show", "-p", "NTPSynchronized", "--value").strip() == "yes":
        return Result("clock", "right", "systemd-timesyncd sets it")
    todo = "timedatectl set-ntp true, or chrony"
    return Result("clock", "wrong", "nothing sets it", todo)


def _printed(*command: str) -> str:
    return subprocess.run(  # noqa: S603  commands of our own choice
        command, capture_output=True, text=True, timeout=60, check=True
    ).stdout


def disk(asked: Asked) -> Iterator[Result]:
    """How full the disks are on which this service writes."""
    places = [Path(tempfile.gettempdir()), *map(Path, filter(None, _places()))]
    seen: set[int] = set()
    for place in places:
        with suppress(OSError):
            if (device := place.stat().st_dev) not in seen:
                seen.add(device)
                yield _room(place)
    if not is_here():
        yield Result("disk", "unsure", "the database's is on another host", "watch it there")
    elif not DATABASE_FOLDER.is_dir():
        words = f"there is no {DATABASE_FOLDER}: where the database lies is not known"
        yield Result("disk", "unsure", words, "watch that disk too")


def _places() -> tuple[str, ...]:
    in_file = settings.LOG_MEMORY and "://" not in settings.LOG_MEMORY
    memory = str(Path(settings.LOG_MEMORY).parent) if in_file else ""
    here = str(DATABASE_FOLDER) if is_here() else ""
    return str(settings.STATIC_ROOT or ""), memory, here


def _room(place: Path) -> Result:
    usage = shutil.disk_usage(place)
    words = f"{usage.free / 2**30:.1f} GiB of {usage.total / 2**30:.1f} are free at {place}"
    least = min(LEAST_BYTES, usage.total // 2)  # a container's /tmp is smaller than that altogether
    if usage.free < least or usage.free < LEAST_FREE * usage.total:
        return Result("disk", "wrong", words, "make room: a full disk stops every write")
    return Result("disk", "right", words)


def memory(asked: Asked) -> Iterator[Result]:
    """Whether the log's memory would outlive the database."""
    if not settings.LOG_MEMORY:
        words = "a database that is set back to an earlier day would go unnoticed"
        yield Result("memory", "unsure", words, "set LOG_MEMORY to a file on another disk")
        return
    if "://" in settings.LOG_MEMORY:
        yield _etcd()
        return
    folder = Path(settings.LOG_MEMORY).parent
    if not is_here():
        yield Result("memory", "right", f"{folder} is not on the database's host")
    elif not DATABASE_FOLDER.is_dir():
        words = "where the database lies is not known"
        yield Result("memory", "unsure", words, f"see that {folder} is on another disk")
    elif folder.stat().st_dev == DATABASE_FOLDER.stat().st_dev:
        words = f"{folder} is on the database's disk, and is lost with it"
        yield Result("memory", "wrong", words, "set LOG_MEMORY to a file on another disk")
    else:
        yield Result("memory", "right", f"{folder} is on another disk than the database")


def _etcd() -> Result:
    """Whether it answers, and to whom else."""
    try:
        remembered_as_it_stands()
    except (Busy, OSError) as fault:
        todo = "look for memory_does_not_answer in the lines of web and worker"
        return Result("memory", "wrong", f"etcd does not answer ({type(fault).__name__})", todo)
    if settings.LOG_MEMORY_PLAIN:
        words = "etcd answers, and whoever is on that network can make the log forget"
        return Result("memory", "unsure", words, "use etcds:// with certificates")
    return Result("memory", "right", "etcd answers, and outlives the database")


def backups(asked: Asked) -> Iterator[Result]:
    """How old the newest one is, what failed last, and whether one was ever restored."""
    if not is_configured():
        todo = "set BACKUP_STAMP or BACKUP_INFO_COMMAND"
        yield Result("backups", "wrong", "nobody tells when one was made", todo)
        return
    try:
        found = attempts()
    except NotKnown as fault:
        yield Result("backups", "wrong", f"none is known of: {fault}", "make one, and look again")
        return
    for part, one in found.items():
        if not one.ok:
            yield Result("backups", "wrong", f"the last {part} failed: {one.words}", BACKUPS_GUIDE)
    hours = (time() - found["backup"].timestamp) / 3600
    words = f"the newest one is {hours:.1f} h old"
    if hours * 3600 > settings.BACKUP_WITHIN:
        todo = f"find out why: one is due every {settings.BACKUP_WITHIN / 3600:.0f} h"
        yield Result("backups", "wrong", words, todo)
    else:
        yield Result("backups", "right", words)
        yield _drilled(found.get("drill"))


def _drilled(last: Attempt | None) -> Result:
    """Whether a backup was ever restored."""
    if last is None:
        return Result("backups", "unsure", "whether it can be restored", "run the restore drill")
    days = (time() - last.timestamp) / 86_400
    if days > DRILL_WITHIN.days:
        words = f"no restore drill went well for {DRILL_WITHIN.days} days"
        return Result("backups", "wrong", words, BACKUPS_GUIDE)
    return Result("backups", "right", f"a backup was restored and found sound {days:.1f} days ago")
