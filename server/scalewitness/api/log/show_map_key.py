"""The key that the map of subjects is blinded under."""

from msgspec import Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.log.proving import as_text
from scalewitness.api.operations import operation
from scalewitness.domain.translog.base64s import encode64
from scalewitness.ledger.services.mapping import map_signer
from scalewitness.receipts.proofs import Base64


class MapKey(Struct, frozen=True):
    """An RSA modulus (the exponent is 65537), and roots that show that under it every path has one
    proof only."""

    modulus: Base64
    roots: list[Base64]


@operation("Show the map's key", gives={200: MapKey}, anonymous=True)
def show_map_key(request: Request) -> Response:
    """For everyone. Its hash is in every entry that states the map."""
    signer = map_signer()
    return Response(MapKey(encode64(signer.key.to_bytes()), as_text(signer.certificate)))
