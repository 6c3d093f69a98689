"""The same people as everywhere, at the present time: pages ask the clock themselves."""

import secrets

import pytest
from django.utils import timezone
from tests.pages.browser import Browser
from tests.plugins.told import Told, a_month_ago
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.animals.services import edit
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import OfferLink, Sale

MALE = "Barnaby"
"""A name that would give a sex away; it must never reach a blind guest."""


class Here(World):
    """`World` whose past lies behind the real clock."""

    def now_is_now(self) -> None:
        """Catch up with the clock, after past events have been told."""
        assert self.now < timezone.now()
        self.now = timezone.now()

    def name(self, animal: Animal, name: str, **more: str) -> None:
        animal.refresh_from_db()
        fields = {"name": name, **more}
        edit(animal, fields, version=animal.version, by=self.odile, now=self.now)

    def token(self, sale: Sale, purpose: str = "offer") -> str:
        links = OfferLink.objects.filter(sale=sale, purpose=purpose, revoked_at=None)
        return link_token(links.order_by("pk").reverse()[0].pk)


@pytest.fixture
def here(db: None, told_a_month_ago: Told) -> Here:
    return told_a_month_ago.again(Here, a_month_ago())


@pytest.fixture
def odile(here: Here) -> Browser:
    return Browser(here.odile)


@pytest.fixture
def greta(here: Here) -> Browser:
    return Browser(here.greta)


@pytest.fixture
def stan(here: Here) -> Browser:
    return Browser(here.stan)


@pytest.fixture
def anyone(db: None) -> Browser:
    """Somebody without an account, whose wrong links nobody else's are counted with."""
    return Browser(REMOTE_ADDR=f"2001:db8:{secrets.randbelow(2**16):x}::1")
