"""No picture, however it is made, costs its reader much memory or time: each is drawn anew in a
process of its own, whose memory is measured at its highest: a fork of a loaded one."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from tests.domain.pictures.hostile import COSTLY, many_scans, png
from tests.pictures import camera_file
from tests.waiting import killed_at_the_end

from scalewitness.domain.pictures.plain import LONGEST_SIDE, NotPlain, size_of
from scalewitness.domain.pictures.reencoding import MOST_PIXELS, check_decodable, reencoded
from stack.local import ROOT

MOST_MEGABYTES = 150

MEASURED = """
import os, sys
from pathlib import Path
from PIL import Image
from scalewitness.domain.pictures.plain import NotPlain
from scalewitness.domain.pictures.reencoding import reencoded

def highest():
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024

def draw(file):
    before = highest()
    refused = ""
    try:
        Path(f"{file}.kept").write_bytes(reencoded(Path(file).read_bytes()))
    except NotPlain as refusal:
        refused = f"{refusal}"
    print(highest() - before, refused, flush=True)

Image.init()
for line in sys.stdin:
    if not (child := os.fork()):
        draw(line.strip())
        os._exit(0)
    assert os.waitpid(child, 0)[1] == 0
"""


@dataclass(frozen=True)
class Drawn:
    """By how many megabytes memory ``rose``; why it was ``refused``, or what is ``kept``."""

    rose: float
    refused: str
    kept: Path


Draw = Callable[[str], Drawn]


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Draw]:
    """Makes a costly picture and draws it anew, each once."""
    folder, order = tmp_path_factory.mktemp("pictures"), list(COSTLY)
    process = subprocess.Popen(  # noqa: S603
        [sys.executable, "-c", MEASURED],
        env={"PYTHONPATH": str(ROOT / "server")},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )

    @cache
    def made(name: str) -> Drawn:
        file: Path = folder / str(order.index(name))
        file.write_bytes(COSTLY[name]())
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(f"{file}\n")
        process.stdin.flush()
        rose, _, refused = process.stdout.readline().strip().partition(" ")
        return Drawn(float(rose), refused, Path(f"{file}.kept"))

    with killed_at_the_end(process):
        yield made


@pytest.mark.parametrize("name", COSTLY)
@pytest.mark.some(5)
def test_drawing_a_picture_anew_takes_little_memory(drawn: Draw, name: str) -> None:
    made = drawn(name)
    assert made.rose < MOST_MEGABYTES, made.refused
    assert bool(made.refused) != made.kept.exists()


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("PNG of one colour, 59 million pixels", "at most 12 million pixels"),
        ("PNG, one line", "at most 65,535 pixels long"),
        ("PNG, broken off", "broken off"),
        ("JPEG, progressive, 60 million pixels", "not progressive"),
        ("JPEG in separate scans", "8 million pixels"),
        ("JPEG drawn thousands of times over", "too many layers"),
        ("JPEG, broken off", "broken off"),
        ("WebP, 12 million pixels", "at most 6 million pixels"),
        ("WebP, animated", "choose a single picture"),
        ("WebP of a false size", "save a smaller copy"),
    ],
)
def test_a_refusal_says_what_to_do(drawn: Draw, name: str, says: str) -> None:
    assert says in drawn(name).refused


@pytest.mark.parametrize(
    "name",
    [
        "PNG, 12 million pixels",
        "PNG, interlaced, with alpha",
        "PNG with texts that unpack",
        "JPEG, 60 million pixels",
        "JPEG, CMYK, square",
        "JPEG with much beside the picture",
        "JPEG with a second picture behind",
        "WebP, 6 million pixels, with alpha",
    ],
)
@pytest.mark.some(2)
def test_what_people_have_is_taken(drawn: Draw, name: str) -> None:
    kept = drawn(name).kept.read_bytes()
    check_decodable(kept)
    assert max(size_of(kept)) <= LONGEST_SIDE


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_each_kind_is_turned_upright_whatever_else_is_left_out(kind: str) -> None:
    assert size_of(reencoded(camera_file(kind))) == (40, 60)


def test_a_plain_file_that_is_drawn_thousands_of_times_over_is_refused_unread() -> None:
    """As the API takes one: small, plain, and it would hold a thread for minutes."""
    bomb = many_scans(5_000)
    assert len(bomb) < 4_000_000
    with pytest.raises(NotPlain, match="layers"):
        check_decodable(bomb)


def test_sixteen_bits_of_grey_are_not_all_white() -> None:
    from io import BytesIO

    from PIL import Image

    grey = Image.open(BytesIO(reencoded(png(40, 30, depth=16, colour=0))))
    assert grey.getpixel((5, 5)) == (17, 17, 17)


def test_the_limits_are_as_the_pages_say() -> None:
    assert MOST_PIXELS == {"JPEG": 60_000_000, "PNG": 12_000_000, "WEBP": 6_000_000}
