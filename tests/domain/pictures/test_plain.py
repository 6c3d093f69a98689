"""What counts as nothing but a picture. Segments: ITU-T T.81, annex B."""

from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from tests.pictures import GPS, camera_file, drawn, plain_file

from scalewitness.domain.pictures.plain import LONGEST_SIDE, NotPlain, size_of
from scalewitness.domain.pictures.reencoding import check_decodable, reencoded

pytestmark = pytest.mark.one_in(2)

PLAIN = plain_file()


def refusal(data: bytes) -> str:
    with pytest.raises(NotPlain) as caught:
        check_decodable(data)
    return str(caught.value)


def with_segment(marker: int, content: bytes) -> bytes:
    segment = bytes([0xFF, marker]) + (len(content) + 2).to_bytes(2, "big") + content
    return PLAIN[:2] + segment + PLAIN[2:]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_what_a_camera_adds_is_gone(kind: str) -> None:
    sent = camera_file(kind)
    assert Image.open(BytesIO(sent)).getexif().get(GPS) is not None
    kept = reencoded(sent)
    assert not Image.open(BytesIO(kept)).getexif()
    assert b"Cam & Co" in sent
    assert b"Cam & Co" not in kept
    check_decodable(kept)


def test_the_picture_is_turned_upright_and_made_smaller() -> None:
    assert size_of(reencoded(camera_file())) == (40, 60)  # it was on its side
    written = BytesIO()
    drawn(3000, 1500).save(written, "PNG")
    assert size_of(reencoded(written.getvalue())) == (LONGEST_SIDE, LONGEST_SIDE // 2)


@pytest.mark.parametrize("more", [{}, {"progressive": True}, {"quality": 95, "subsampling": 0}])
def test_what_encoders_write_is_plain(more: dict[str, object]) -> None:
    written = BytesIO()
    drawn().save(written, "JPEG", **more)
    assert size_of(written.getvalue()) == (60, 40)
    check_decodable(written.getvalue())


def test_a_camera_file_is_refused_as_it_is() -> None:
    assert "more than its picture" in refusal(camera_file())


@pytest.mark.parametrize(
    ("marker", "content"),
    [
        (0xE1, b"Exif\0\0"), (0xE2, b"MPF\0"), (0xED, b"Photoshop 3.0\0"), (0xFE, b"the shed"),
        (0xE0, b"JFXX\0\x10" + bytes(40)), (0xE0, b"JFIF\0" + bytes(60)), (0xEF, b""),
    ],
)  # fmt: skip
def test_segments_that_may_tell_more_are_refused(marker: int, content: bytes) -> None:
    assert "more than its picture" in refusal(with_segment(marker, content))


def test_nothing_may_follow_the_picture() -> None:
    assert "goes on behind" in refusal(PLAIN + b"52.08 N")
    assert "goes on behind" in refusal(PLAIN + PLAIN)


@pytest.mark.parametrize("data", [b"", b"\xff\xd8", b"GIF89a", b"\xff\xd8\xff\xd9", b"<svg/>"])
def test_what_is_no_picture(data: bytes) -> None:
    assert refusal(data)


def test_too_large_a_picture_is_refused() -> None:
    written = BytesIO()
    drawn(LONGEST_SIDE + 1, 8).save(written, "JPEG")
    assert "pixels a side" in refusal(written.getvalue())


@settings(max_examples=150)
@given(st.integers(0, len(PLAIN) - 1), st.binary(max_size=12), st.integers(0, 12))
def test_damaged_files_are_refused_or_drawn_never_worse(at: int, put: bytes, cut: int) -> None:
    damaged = PLAIN[:at] + put + PLAIN[at + cut :]
    for step in (check_decodable, reencoded):
        try:
            step(damaged)
        except NotPlain:
            continue
