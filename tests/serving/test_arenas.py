"""The web process's threads share few arenas, as the C library itself counts them."""

import os
import subprocess
import sys

import pytest

from scalewitness.serving.arenas import AT_MOST

COUNTED = """
import ctypes, sys, threading
if sys.argv[1] == "few":
    from scalewitness.serving.arenas import share_few_arenas
    print(share_few_arenas())
all_have = threading.Barrier(9)
def take():
    taken = [bytearray(5_000) for _ in range(100)]
    all_have.wait()
    all_have.wait()
threads = [threading.Thread(target=take) for _ in range(8)]
for one in threads: one.start()
all_have.wait()
libc = ctypes.CDLL(None)
libc.fdopen.restype = ctypes.c_void_p
file = ctypes.c_void_p(libc.fdopen(1, b"w"))
libc.malloc_info(0, file)
libc.fflush(file)
all_have.wait()
"""


def told(what: str, **more: str) -> tuple[str, int]:
    """What was printed first, and how many arenas eight threads take."""
    run = [sys.executable, "-u", "-c", COUNTED, what]
    given = {name: one for name, one in os.environ.items() if not name.startswith("MALLOC_")}
    answer = subprocess.run(  # noqa: S603  words of our own
        run, env=given | more, check=True, capture_output=True, text=True
    )
    return answer.stdout.partition("\n")[0], answer.stdout.count("<heap nr=")


@pytest.mark.skipif(sys.platform != "linux", reason="glibc alone has arenas")
def test_threads_share_few_arenas() -> None:
    assert told("few") == ("True", AT_MOST)
    assert told("usual")[1] > AT_MOST


@pytest.mark.skipif(sys.platform != "linux", reason="glibc alone has arenas")
def test_what_an_operator_set_goes_before_it() -> None:
    assert told("few", MALLOC_ARENA_MAX="3") == ("False", 3)
