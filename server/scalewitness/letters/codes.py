"""The code of a buyer's confirmation, to the address that the offer went to."""

from datetime import datetime

from django.db import transaction

from scalewitness.domain.errors import NotFound, NotNow
from scalewitness.fresh_ids import fresh_id
from scalewitness.letters.sales import about_sale
from scalewitness.mail.services import queueing as mail
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
        mail.queue(
            id=code.pk,
            kind="confirmation_code",
            cause=code.pk,
            recipient=sale.buyer_id,
            to=sale.buyer.email,
            context={**about_sale(sale), "code_id": str(code.pk)},
            now=now,
        )
    mail.wake()
