"""Photos on pages: attached without script, shown to those who may see them."""

from io import BytesIO

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from tests.pages.browser import Browser, Form
from tests.pages.conftest import Here
from tests.pictures import camera_file

from scalewitness.animals.models import Animal, Photo
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.domain.pictures.reencoding import check_decodable
from scalewitness.intake import heavy_work
from scalewitness.mail.services.links import link_token
from scalewitness.pages.guards import uploads
from scalewitness.sales.models import OfferLink

pytestmark = pytest.mark.one_in(6)


def upload(reader: Browser, path: str, data: bytes) -> int:
    asked = [one for one in reader.open(path).forms if "picture" in one.names]
    form = asked[0] if asked else Form(path, "post")
    given = {name: values[-1] for name, values in form.values.items()}
    picture = SimpleUploadedFile("snake.jpg", data, "image/jpeg")
    answer = reader.client.post(path, given | {"picture": picture})
    return int(answer.status_code)


def attached(here: Here, reader: Browser, animal: Animal, query: str = "") -> Photo:
    assert upload(reader, f"/animals/{animal.pk}/photos/new{query}", camera_file()) == 302
    return Photo.objects.order_by("-position")[0]


def test_a_camera_file_is_drawn_anew_before_it_is_said(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    photo = attached(here, odile, animal)
    kept = photo_file(photo.pk)
    assert kept is not None
    check_decodable(kept)
    assert b"Cam & Co" not in kept
    page = odile.open(f"/animals/{animal.pk}")
    assert f'src="/photos/{photo.pk}"' in page.html
    assert 'alt="Photo of the animal"' in page.html
    answer = odile.client.get(f"/photos/{photo.pk}")
    assert (answer.content, answer.headers["Content-Type"]) == (kept, "image/jpeg")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_what_is_no_picture_is_told_beside_the_field(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    assert upload(odile, f"/animals/{animal.pk}/photos/new", b"no picture") == 422
    assert not Photo.objects.exists()


def test_a_photo_of_a_call_stands_with_it(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    call = here.call(here.odile, animal, "male")
    photo = attached(here, odile, animal, f"?call={call.id}")
    assert str(photo.call) == call.id
    page = odile.open(f"/animals/{animal.pk}")
    assert 'alt="Photo of this check"' in page.html
    assert 'alt="Photo of the animal"' not in page.html


def test_a_photo_whose_file_has_not_come_is_told_in_words(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    body = {"sha256": "0" * 64, "size": 1000}
    here.say(here.odile, "photo_attached", animal.pk, body)
    assert "has not arrived yet" in odile.open(f"/animals/{animal.pk}").html


def test_nobody_attaches_to_anothers_call(here: Here, odile: Browser, greta: Browser) -> None:
    animal = here.animal("R-17")
    call = here.call(here.odile, animal, "male")
    here.visit(here.greta, animal)
    assert greta.open(f"/animals/{animal.pk}/photos/new?call={call.id}").status == 404
    assert odile.open(f"/animals/{animal.pk}/photos/new?call=none").status == 404
    assert upload(greta, f"/animals/{animal.pk}/photos/new", camera_file()) == 404
    assert not Photo.objects.exists()


def test_a_buyer_sees_the_photos_by_their_link(here: Here, odile: Browser, anyone: Browser) -> None:
    animal, other = here.verified("R-17"), here.animal("R-18")
    photo, elsewhere = attached(here, odile, animal), attached(here, odile, other)
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    token = link_token(OfferLink.objects.get(sale=sale, purpose="offer").pk)
    where = f"/offers/{token}/photos/{photo.pk}"
    assert f'src="{where}"' in anyone.open(f"/offers/{token}").html
    assert anyone.client.get(where).headers["Content-Type"] == "image/jpeg"
    assert anyone.client.get(f"/offers/{token}/photos/{elsewhere.pk}").status_code == 404
    assert anyone.open(f"/photos/{photo.pk}").goes_to.startswith("/accounts/login/")


def test_a_picture_too_many_says_so_and_when_to_come_again(
    here: Here, odile: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal = here.animal("R-17")
    monkeypatch.setattr(uploads, "MOST", 2)
    cache.clear()
    where = f"/animals/{animal.pk}/photos/new"
    assert [upload(odile, where, camera_file()) for _ in range(4)] == [302, 302, 429, 429]
    assert Photo.objects.count() == 2
    cache.clear()


def test_while_too_many_are_drawn_the_page_says_to_send_it_again(
    here: Here, odile: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal = here.animal("R-17")
    monkeypatch.setattr(heavy_work, "MOST_WAITING", 0)
    where = f"/animals/{animal.pk}/photos/new"
    given = {"picture": SimpleUploadedFile("snake.jpg", camera_file(), "image/jpeg")}
    answer = odile.client.post(where, given)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
    assert "choose the file again" in answer.content.decode()
    assert not Photo.objects.exists()


def test_a_body_larger_than_any_form_is_refused_before_it_is_read(odile: Browser) -> None:
    class Unread(BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            raise AssertionError("it was read")

    environ = {"CONTENT_LENGTH": "30000000", "wsgi.input": Unread()}
    answer = odile.client.post("/accounts/login/", content_type="text/plain", **environ)
    assert answer.status_code == 413
    assert "at most 25 MB" in answer.content.decode()
    assert "Content-Security-Policy" in answer.headers
