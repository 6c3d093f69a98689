"""What the log's proofs have in common: sizes within what is vouched for, hashes as text."""

from collections.abc import Callable, Iterable
from typing import Annotated, TypeVar

from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request

from scalewitness.api.parameters import Whole, bad_parameter
from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.translog.base64s import encode64
from scalewitness.ledger.services.signing import current_checkpoint

T = TypeVar("T")

Hash = Annotated[str, Meta(extra_json_schema={"contentEncoding": "base64"})]


def vouched_size(request: Request, parameter: Whole) -> int:
    """The size asked for, or that of the latest checkpoint when none is.

    Raises:
        Malformed: it is larger than the latest checkpoint's tree.
        LogContradicted, Fenced: nothing was ever signed and now nothing can be.
    """
    asked, signed = parameter.read(request), current_checkpoint(timezone.now()).size
    if asked is None:
        return signed
    if asked > signed:
        raise bad_parameter(parameter.name, f"The latest checkpoint covers {signed} entries.")
    return asked


def read_from_tree(read: Callable[[], T]) -> T:
    """What ``read`` finds. Raises LogContradicted where the log lacks what it signed."""
    try:
        return read()
    except ValueError:
        raise LogContradicted() from None


def as_text(hashes: Iterable[bytes]) -> list[str]:
    return [encode64(one) for one in hashes]
