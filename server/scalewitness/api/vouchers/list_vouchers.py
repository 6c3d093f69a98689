"""Whether the keeper's own word may verify a sex, and for whom they answer."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.vouchers import Vouchers, vouchers


@operation("List those I vouch for, and whether my own word verifies a sex", gives={200: Vouchers})
def list_vouchers(request: Request) -> Response:
    """For nobody else: who vouches for somebody is read by those two alone."""
    return Response(vouchers(keeper_of(request).pk))
