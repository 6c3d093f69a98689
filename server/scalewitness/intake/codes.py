"""The code of a buyer's confirmation, to the address that the offer went to."""

from datetime import datetime

from django.db import transaction

from scalewitness.domain.errors import NotFound, NotNow
from scalewitness.intake import letters
from scalewitness.intake.batch import fresh_id
from scalewitness.mail.services.queueing import wake
from scalewitness.sales.models import Sale
from scalewitness.sales.services import make_code


def send_code(sale: Sale, now: datetime) -> None:
    """Owe the buyer a letter with a new code, which makes those before it useless.

    Raises:
        NotFound: this seller asks for none.
        NotNow: several were asked for lately.
    """
    if not sale.by_code:
        raise NotFound()
    with transaction.atomic():
        code = make_code(sale, fresh_id(now), now)
        if code is None:
            raise NotNow("Several codes were sent within the hour; wait a little.")
        letters.code(sale, code.pk, now)
    wake()
