"""No picture, however it is made, costs its reader much memory or time: each is drawn anew in a
process of its own, whose memory is measured at its highest."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.domain.pictures.hostile import COSTLY, many_scans, png
from tests.pictures import camera_file

from scalewitness.domain.pictures.plain import LONGEST_SIDE, NotPlain, size_of
from scalewitness.domain.pictures.reencoding import MOST_PIXELS, check_decodable, reencoded
from stack.local import ROOT

MOST_MEGABYTES = 150
Picture = Callable[[str], Path]

MEASURED = """
import sys
from pathlib import Path
from PIL import Image
from scalewitness.domain.pictures.plain import NotPlain
from scalewitness.domain.pictures.reencoding import reencoded

def highest():
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024

Image.init()
before = highest()
try:
    told = f"{len(reencoded(Path(sys.argv[1]).read_bytes()))} bytes"
except NotPlain as refusal:
    told = f"refused: {refusal}"
print(highest() - before, told)
"""


def drawn_apart(file: Path) -> tuple[float, str]:
    """By how many megabytes memory rose at most, and what came of it."""
    argv = [sys.executable, "-c", MEASURED, str(file)]
    where = {"PYTHONPATH": str(ROOT / "server")}
    done = subprocess.run(argv, env=where, capture_output=True, text=True, check=True)  # noqa: S603
    rise, _, told = done.stdout.strip().partition(" ")
    return float(rise), told


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Picture:
    """Makes a costly picture, each once: that takes as long as reading it does."""
    folder, order = tmp_path_factory.mktemp("pictures"), list(COSTLY)

    def made(name: str) -> Path:
        file: Path = folder / str(order.index(name))
        if not file.exists():
            file.write_bytes(COSTLY[name]())
        return file

    return made


@pytest.mark.parametrize("name", COSTLY)
def test_drawing_a_picture_anew_takes_little_memory(picture: Picture, name: str) -> None:
    rise, told = drawn_apart(picture(name))
    assert rise < MOST_MEGABYTES, told
    if "refused" not in told:
        assert told.endswith("bytes")


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
def test_a_refusal_says_what_to_do(picture: Picture, name: str, says: str) -> None:
    with pytest.raises(NotPlain, match=says):
        reencoded(picture(name).read_bytes())


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
def test_what_people_have_is_taken(picture: Picture, name: str) -> None:
    kept = reencoded(picture(name).read_bytes())
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
