"""Labels read by the camera: of pictures drawn here, by the decoder alone and through a whole phone
without a signal. Chromium on Linux has no detection of its own, so the decoder is what is tested.

Patterns of Code 128: ISO/IEC 15417, table 1 (bars and spaces in modules)."""

import hashlib
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import segno
from PIL import Image, ImageDraw, ImageFilter
from playwright.sync_api import Browser, expect, sync_playwright
from tests.browser.rackside.conftest import HERE, NewPhone, Phone, Racks, Visit, open_sheet

from stack.local import ROOT

pytestmark = pytest.mark.one_in(6)

TABLE = (
    "212222 222122 222221 121223 121322 131222 122213 122312 132212 221213 221312 231212 112232 "
    "122132 122231 113222 123122 123221 223211 221132 221231 213212 223112 312131 311222 321122 "
    "321221 312212 322112 322211 212123 212321 232121 111323 131123 131321 112313 132113 132311 "
    "211313 231113 231311 112133 112331 132131 113123 113321 133121 313121 211331 231131 213113 "
    "213311 213131 311123 311321 331121 312113 312311 332111 314111 221411 431111 111224 111422 "
    "121124 121421 141122 141221 112214 112412 122114 122411 142112 142211 241211 221114 413111 "
    "241112 134111 111242 121142 121241 114212 124112 124211 411212 421112 421211 212141 214121 "
    "412121 111143 111341 131141 114113 114311 411113 411311 113141 114131 311141 411131 211412 "
    "211214 211232 2331112 "
)
PATTERNS = TABLE.split()
START_B, STOP = 104, 106


def code_128(text: str, module: int = 3) -> Image.Image:
    """A bar code in code set B, with its check digit and quiet zones."""
    values = [START_B, *(ord(sign) - 32 for sign in text)]
    check = (values[0] + sum(at * one for at, one in enumerate(values[1:], 1))) % 103
    widths = "".join(PATTERNS[one] for one in [*values, check, STOP])
    image = Image.new("L", ((sum(map(int, widths)) + 20) * module, 120), 255)
    drawn, x = ImageDraw.Draw(image), 10 * module
    for at, width in enumerate(widths):
        if at % 2 == 0:
            drawn.rectangle((x, 15, x + int(width) * module - 1, 105), 0)
        x += int(width) * module
    return image


def qr_code(text: str) -> Image.Image:
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="png", scale=5, border=4)
    return Image.open(out).convert("L")


def held(label: Image.Image, angle: float = 0.0) -> Image.Image:
    """As a camera has it: small in a dim picture, a little turned and not quite sharp."""
    picture = Image.new("L", (640, 480), 120)
    turned = label.rotate(angle, expand=True, fillcolor=200, resample=Image.Resampling.BICUBIC)
    picture.paste(turned.point(lambda one: 30 + one * 0.7), (60, 90))
    return picture.filter(ImageFilter.GaussianBlur(0.8))


DECODED = """m.decode({ ...given,
  data: Uint8ClampedArray.from(given.data.flatMap((one) => [one, one, one, 255])) })"""
ADDRESS = "https://record.example/animals/0198c8f2-7b1e-7cc2-9a30-3f0f2c1a4b55/"


@pytest.mark.parametrize(
    ("picture", "says"),
    [
        (held(qr_code("R2-14")), "R2-14"),
        (held(qr_code(ADDRESS), 17), ADDRESS),
        (held(code_128("R2-14")), "R2-14"),
        (held(code_128("276098100000021", 2), 3), "276098100000021"),
        (held(Image.new("L", (200, 200), 255)), None),
    ],
    ids=["qr", "qr of an address, turned", "code 128", "code 128, narrow and turned", "nothing"],
)
def test_what_a_label_says_is_read_off_its_picture(
    modules: Any, picture: Image.Image, says: str | None
) -> None:
    size = {"width": picture.width, "height": picture.height}
    assert modules("decoder/decode", DECODED, {**size, "data": list(picture.tobytes())}) == says


def film(picture: Image.Image, path: Path) -> None:
    """A picture that stands still, as a YUV4MPEG2 file."""
    grey = bytes([128]) * (picture.width * picture.height // 2)
    head = f"YUV4MPEG2 W{picture.width} H{picture.height} F10:1 Ip A1:1 C420jpeg\n"
    path.write_bytes(head.encode() + (b"FRAME\n" + picture.tobytes() + grey) * 10)


@pytest.fixture(scope="module")
def label(racks: Racks, tmp_path_factory: pytest.TempPathFactory) -> tuple[Visit, Path]:
    visit = racks.visit("CAM-1", "CAM-2")
    path = tmp_path_factory.mktemp("film") / "label.y4m"
    address = f"{racks.stack.url}/animals/{visit.animals['CAM-2']}"
    film(held(qr_code(address)), path)
    return visit, path


@pytest.fixture(scope="module")
def phone_browser(label: tuple[Visit, Path], chromium_path: Path) -> Iterator[Browser]:
    """Phones of this module have a camera, which holds that label."""
    options = ["--no-sandbox", "--disable-dev-shm-usage", "--use-fake-device-for-media-stream"]
    options.append("--use-fake-ui-for-media-stream")
    options.append(f"--use-file-for-fake-video-capture={label[1]}")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=options)
        yield browser
        browser.close()


def test_the_camera_opens_whom_a_label_is_of_without_a_signal(
    label: tuple[Visit, Path], phones: NewPhone
) -> None:
    """The decoder was kept by the worker, and breaks no content policy. A label is no reading of
    the snake, whatever is printed on it."""
    visit, _ = label
    phone = phones(permissions=["camera"])
    page = phone.signed_in()
    open_sheet(page, visit)
    phone.context.set_offline(True)
    page.get_by_role("link", name="Scan", exact=True).click()
    expect(page.get_by_role("heading", name="CAM-2", level=1)).to_be_visible()
    expect(page.get_by_label("Tub tag read: CAM-2")).to_be_checked()
    expect(page.get_by_label("The code you read")).to_have_value("CAM-2")


def test_where_the_camera_is_not_allowed_it_says_what_to_do(phone: Phone) -> None:
    refusal = "new DOMException('no', 'NotAllowedError')"  # nobody is there to be asked
    phone.context.add_init_script(
        f"navigator.mediaDevices.getUserMedia = () => Promise.reject({refusal});"
    )
    page = phone.signed_in()
    page.goto(f"{HERE}#/scan")
    expect(page.get_by_role("status").filter(has_text="The camera was not allowed")).to_be_visible()


def test_the_decoder_is_the_one_that_its_source_note_names() -> None:
    folder = ROOT / "clients"
    file = (folder / "rackside" / "decoder" / "zxing.js").read_bytes()
    assert hashlib.sha256(file).hexdigest() in (folder / "zxing" / "README.md").read_text()
    assert not re.search(rb"\beval\(|\bFunction\(|WebAssembly", file)
