"""Confirming with a code from a second letter, where the seller asks for it."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.utils import timezone
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once

from scalewitness.domain.errors import Refused
from scalewitness.intake.services import accept_one
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import code_of
from scalewitness.sales.models import ConfirmationCode, Sale
from scalewitness.sales.queries import progress_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]


@told_once
def offered(here: Here) -> Sale:
    animal = here.verified("C-1")
    here.now_is_now()
    sale = here.draft(animal, by_code=True)
    here.offer(sale)
    return sale


def confirm(anyone: Browser, path: str, code: str) -> int:
    page = anyone.fill(path, "/confirmation", statement="A male, verified.", code=code)
    return page.status


def state(sale: Sale) -> str:
    return progress_of(Sale.objects.get(pk=sale.pk)).state


def digits() -> str:
    letter = Letter.objects.filter(kind="confirmation_code").order_by("created_at").last()
    assert letter is not None
    message = compose(letter)
    found = code_of(UUID(letter.context["code_id"]))
    assert message.subject.startswith(found)
    assert found not in str(letter.context), "no digits are at rest"
    return found


def test_without_the_digits_nothing_is_confirmed(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    path = f"/offers/{here.token(offered)}"
    assert confirm(anyone, path, "") == 422
    sent = anyone.send(anyone.open(path).form("/code"))
    assert "A code is on its way" in sent.text
    right = digits()
    assert confirm(anyone, path, f"{(int(right) + 1) % 1_000_000:06}") == 422
    assert state(offered) == "offered"
    assert confirm(anyone, path, f" {right[:3]} {right[3:]} ") == 302
    assert state(offered) == "confirmed"


def test_a_newer_code_makes_the_older_useless_and_both_grow_old(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    path = f"/offers/{here.token(offered)}"
    anyone.send(anyone.open(path).form("/code"))
    first = digits()
    anyone.send(anyone.open(path).form("/code"))
    second = digits()
    assert first == second or confirm(anyone, path, first) == 422
    ConfirmationCode.objects.update(made_at=timezone.now() - timedelta(minutes=31))
    assert confirm(anyone, path, second) == 422


def test_few_tries_and_few_codes(here: Here, anyone: Browser, offered: Sale) -> None:
    path = f"/offers/{here.token(offered)}"
    anyone.send(anyone.open(path).form("/code"))
    right = digits()
    wrong = "000000" if right != "000000" else "000001"
    assert [confirm(anyone, path, wrong) for _ in range(5)] == [422] * 5
    assert confirm(anyone, path, right) == 422, "it is used up"
    sent = [anyone.send(anyone.open(path).form("/code")).status for _ in range(5)]
    assert sent == [200] * 4 + [429]


def test_the_link_alone_confirms_nothing_by_any_way(here: Here, offered: Sale) -> None:
    body = here.look(offered)
    with pytest.raises(Refused) as error:
        accept_one(here.item("sale_confirmed", offered.pk, body), here.buyer(offered), here.now)
    assert "asked for a code" in str(error.value.as_problem()["detail"])


def test_whoever_has_the_link_cannot_have_the_code_sent_elsewhere(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    path = f"/offers/{here.token(offered)}"
    refused = anyone.fill(f"{path}/address", "", email="thief@else.example")
    assert refused.status == 422
    assert "the address stays until then" in refused.text
    offered.buyer.refresh_from_db()
    assert offered.buyer.email == "bela@buyers.example"


def test_who_did_not_ask_for_it_is_asked_for_none(here: Here, anyone: Browser) -> None:
    animal = here.verified("C-2")
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    path = f"/offers/{here.token(sale)}"
    assert "code" not in anyone.open(path).form("/confirmation").names
    assert anyone.client.post(f"{path}/code").status_code == 404
