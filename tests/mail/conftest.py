"""A mail host, and a verified sex that was sold and fell."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import LazySettings
from tests.intake.test_sales import contrary
from tests.world import World

from scalewitness.calls.models import Call
from scalewitness.sales.models import Sale
from stack.mailsink import MailSink


@pytest.fixture
def sink(tmp_path: Path, settings: LazySettings) -> Iterator[MailSink]:
    with MailSink(tmp_path / "mail") as running:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", running.port
        yield running


@pytest.fixture
def fallen(world: World) -> Sale:
    animal = world.verified("V1")
    sale = world.sold(animal)
    world.pass_time(days=1)
    contrary(world, animal)
    return sale


def restore(world: World) -> None:
    """The contrary check is taken back."""
    call = Call.objects.get(by=world.greta.pk)
    world.say(world.greta, "call_withdrawn", call.animal_id, {"call": str(call.pk)})
