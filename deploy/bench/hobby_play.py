"""Keepers who do what `hobby_year.py` says, over HTTP; Django is set up before this is imported."""

import io
import itertools
import random
import secrets
import time
from collections.abc import Iterator, Sequence
from datetime import timedelta
from hashlib import sha256
from typing import Any
from urllib.parse import quote
from uuid import UUID

import httpx
from cast import fresh_id, probing
from django.utils import timezone
from hobby_year import ANIMALS, YOUNG
from PIL import Image

from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.pictures.reencoding import reencoded
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.mail.services.links import link_token
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device, sign_up, vouch
from scalewitness.sales.models import OfferLink

PASSWORD = "nine-long-racks-of-tubs"  # noqa: S105  of keepers who are made up
FOR_SALE = 12
"""Animals that each keeper has besides, to sell."""
EXAMINED = 6
"""Animals of a visit."""
PHOTO_SIDE = (1536, 2048)
PHOTO_GRAIN = 15
"""So that a file has some 400 kB, as of a snake on newspaper (our judgement)."""
_NUMBERS = itertools.count(1)


class Refused(Exception):
    """An answer that is not as it should be."""


class Line:
    """A client of the service. ``asked``: status and seconds of each request."""

    def __init__(self, url: str) -> None:
        self._client = httpx.Client(base_url=url, timeout=60, trust_env=False)
        self.asked: list[tuple[int, float]] = []

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        """
        Raises:
            Refused: anything but 2xx or a page that leads on.
        """
        began = time.perf_counter()
        answer = self._client.request(method, path, **more)
        self.asked.append((answer.status_code, time.perf_counter() - began))
        if answer.status_code >= 400:
            raise Refused(f"{method} {path}: {answer.status_code} {answer.text[:300]}")
        return answer

    def api(self, token: str, method: str, path: str, body: object = None) -> Any:
        more = {"json": body} if body is not None else {}
        answer = self.ask(method, f"/api/v1/{path}", headers=_bearer(token), **more)
        return answer.json() if answer.content else None

    def push(self, token: str, *items: dict[str, Any]) -> None:
        outcomes = self.api(token, "POST", "push", {"items": items})["items"]
        for one in outcomes:
            if one["status"] != "accepted":
                raise Refused(str(one))

    def forget_cookies(self) -> None:
        self._client.cookies.clear()


class Person:
    """A keeper with a collection, a device and animals, some of them to sell."""

    def __init__(self) -> None:
        number, now = next(_NUMBERS), timezone.now()
        self.email = f"keeper.{number}@keepers.example"
        self.keeper = sign_up(name=f"Keeper {number}", email=self.email, password=PASSWORD)
        vouch(self.email)
        self.token = enrol_device(self.keeper, "phone", now)[1]
        self.collection = create_collection(self.keeper, fresh_id(), "Room", now).pk
        self.animals = [fresh_id() for _ in range(ANIMALS)]
        self.young = [fresh_id() for _ in range(FOR_SALE)]
        self.cursor = ""
        self.cookie = ""
        self.address = f"198.18.{number // 250}.{number % 250}"  # where they live (RFC 2544)
        items = list(self.registering(self.animals + self.young))
        if any(one.problem for one in accept(items, Actor(keeper=self.keeper.pk), now)):
            raise Refused("an animal was not registered")

    def registering(self, animals: Sequence[UUID], **more: str) -> Iterator[dict[str, Any]]:
        for animal in animals:
            body = {"collection": str(self.collection), "species": "python_regius", **more}
            yield item("animal_registered", animal, body)
            yield item("identifier_assigned", animal, {"scheme": "tag", "code": tag(animal)})


class Hobby:
    """``people`` of whom each does one thing after the other; one for each client at least."""

    def __init__(self, url: str, people: int) -> None:
        self._url = url
        self.people = [Person() for _ in range(people)]
        self._photo = photo()

    def player(self, number: int, of: int) -> "Player":
        """The client ``number``, who plays every ``of``-th person."""
        return Player(self._url, self.people[number::of], self._photo, number)


class Player:
    """Does one operation at a time, as the next of its people; each method is one of `DOINGS`."""

    def __init__(self, url: str, people: Sequence[Person], photo: bytes, seed: int) -> None:
        self.line = Line(url)
        self._people = itertools.cycle(people)
        self._guests: Iterator[Keeper] = itertools.cycle([one.keeper for one in people[1:]])
        self._tokens = {one.keeper.pk: one.token for one in people}
        self._photo = photo
        self._dice = random.Random(seed)  # noqa: S311  it draws what is played

    def play(self, name: str) -> None:
        person = next(self._people)
        getattr(self, name.replace("-", "_"))(person)

    def opening(self, person: Person) -> None:
        self.turn(person)
        visits = self.line.api(person.token, "GET", "visits")["items"]
        mine = [one for one in visits if one["guest"]["id"] == str(person.keeper.pk)]
        for visit in [one for one in mine if one["state"] == "open"][:1]:
            self.line.api(person.token, "GET", f"visits/{visit['id']}/sheet")

    def turn(self, person: Person) -> None:
        """What is new, without waiting for it."""
        more = True
        while more:
            asked = f"&cursor={quote(person.cursor)}" if person.cursor else ""
            page = self.line.api(person.token, "GET", f"changes?limit=1000{asked}")
            person.cursor, more = page["cursor"], page["more"]

    def page(self, person: Person) -> None:
        animal = self._dice.choice(person.animals)
        paths = ("/", "/animals", f"/animals/{animal}", f"/collections/{person.collection}")
        if not person.cookie:
            self.sign_in(person)
        self.line.ask("GET", self._dice.choice(paths), headers={"Cookie": person.cookie})

    def sign_in(self, person: Person) -> None:
        """The form, the password, and the page it leads to."""
        self.line.forget_cookies()
        form = self.line.ask("GET", "/accounts/login/")
        sent = {
            "login": person.email,
            "password": PASSWORD,
            "csrfmiddlewaretoken": form.cookies["csrftoken"],
        }
        home = {"X-Forwarded-For": person.address}
        answer = self.line.ask("POST", "/accounts/login/", data=sent, headers=home)
        person.cookie = f"sessionid={answer.cookies['sessionid']}"
        self.line.forget_cookies()

    def round(self, person: Person) -> None:
        noted = {"type": "weight", "grams": str(self._dice.randint(60, 2500))}
        self.line.push(
            person.token,
            *(item("husbandry_noted", one, {"noted": noted}) for one in person.animals),
        )

    def animal(self, person: Person) -> None:
        self.line.push(person.token, *person.registering([fresh_id()]))

    def call(self, person: Person) -> None:
        animal = self._dice.choice(person.animals)
        self.line.push(person.token, item("call_made", animal, probed(animal, "male")))

    def visit(self, person: Person) -> None:
        """Invited, accepted, the sheet fetched, six animals called in one push."""
        guest = next(one for one in self._guests if one.pk != person.keeper.pk)
        visit, token, now = fresh_id(), self._tokens[guest.pk], timezone.now()
        animals = self._dice.sample(person.animals, EXAMINED)
        body = {
            "collection": str(person.collection),
            "guest": str(guest.pk),
            "animals": [str(one) for one in animals],
            "opens": rfc3339(now),
            "closes": rfc3339(now + timedelta(days=1)),
            "blind": True,
        }
        self.line.push(person.token, item("visit_invited", visit, body))
        self.line.push(token, item("visit_accepted", visit, {}))
        self.line.api(token, "GET", f"visits/{visit}/sheet")
        bodies = [(one, probed(one, "male") | {"visit": str(visit)}) for one in animals]
        self.line.push(token, *(item("call_made", one, called) for one, called in bodies))

    def clutch(self, person: Person) -> None:
        """Eggs seen; the young registered under their parents, and probed."""
        sire, dam = self._dice.sample(person.animals, 2)
        eggs = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
        body = probed(dam, "female") | {"observed": eggs}
        self.line.push(person.token, item("call_made", dam, body))
        young = [fresh_id() for _ in range(YOUNG)]
        more = {"hatched": timezone.now().date().isoformat(), "sire": str(sire), "dam": str(dam)}
        self.line.push(person.token, *person.registering(young, **more))
        called = (item("call_made", one, probed(one, "female")) for one in young)
        self.line.push(person.token, *called)
        person.young += young

    def photo(self, person: Person) -> None:
        """The fact, then its file."""
        file = {"sha256": sha256(self._photo).hexdigest(), "size": len(self._photo)}
        sent = item("photo_attached", self._dice.choice(person.animals), file)
        self.line.push(person.token, sent)
        headers = _bearer(person.token) | {"Content-Type": "image/jpeg"}
        self.line.ask("PUT", f"/api/v1/photos/{sent['id']}", content=self._photo, headers=headers)

    def sale(self, person: Person) -> None:
        """Drafted, offered, looked at thrice and confirmed by the buyer, paid, handed over."""
        if not person.young:
            person.young.append(fresh_id())
            self.line.push(person.token, *person.registering(person.young))
        sale, animal = fresh_id(), person.young.pop()
        buyer = {"name": "Bela Novak", "email": f"{secrets.token_hex(6)}@buyers.example"}
        draft = {"id": str(sale), "collection": str(person.collection), "buyer": buyer}
        self.line.api(person.token, "POST", "sales", draft | {"animals": [str(animal)]})
        terms = {"recheck_days": 14, "remedy": "refund"}
        terms["expires"] = rfc3339(timezone.now() + timedelta(days=7))
        self.line.api(person.token, "POST", f"sales/{sale}/offer", stated(terms))
        way = f"offers/{link_token(OfferLink.objects.get(sale=sale, purpose='offer').pk)}"
        for _ in range(2):
            self.line.ask("GET", f"/{way}")
        shown = self.line.ask("GET", f"/api/v1/{way}").json()
        seen = stated({"seen": shown["seen"], "shown": shown["shown"]})
        self.line.ask("POST", f"/api/v1/{way}/confirmation", json=seen)
        for step in ("payment", "handover"):
            self.line.api(person.token, "POST", f"sales/{sale}/{step}", stated({}))


def photo() -> bytes:
    """A picture with grain, as the phone and the pages send it."""
    side = Image.effect_noise(PHOTO_SIDE, PHOTO_GRAIN).resize((768, 1024)).resize(PHOTO_SIDE)
    written = io.BytesIO()
    side.convert("RGB").save(written, "JPEG", quality=85)
    return reencoded(written.getvalue())


def tag(animal: UUID) -> str:
    return animal.hex[-10:]


def probed(animal: UUID, sex: str) -> dict[str, Any]:
    return probing(sex, tag(animal))


def stated(body: dict[str, Any]) -> dict[str, Any]:
    return {"id": str(fresh_id()), "at": rfc3339(timezone.now()), **body}


def item(kind: str, about: UUID, body: dict[str, Any]) -> dict[str, Any]:
    return stated({"kind": kind, "about": str(about), "body": body})


def _bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}
