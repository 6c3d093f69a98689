"""Where one is signed in."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of, keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.people import Devices, SigningNoticeRuns, device
from scalewitness.people.queries import devices_of
from scalewitness.people.queries.own_word import by_password_only, ruled


@operation("List my devices", gives={200: Devices})
def list_devices(request: Request) -> Response:
    """Revoked ones too, newest first."""
    current, keeper = actor_of(request).device, keeper_of(request)
    found = list(devices_of(keeper))
    rule = ruled(keeper.pk, timezone.now())
    notice = SigningNoticeRuns(rule.notice, rule.ends) if rule.notice and rule.ends else None
    weak = by_password_only(one.pk for one in found)
    items = [device(one, current, by_password_only=one.pk in weak) for one in found]
    return Response(Devices(items, rule.required, notice))
