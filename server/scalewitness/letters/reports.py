"""Letters about calls that were reported of somebody."""

from uuid import UUID

from scalewitness.calls.models import Call
from scalewitness.domain.sales import LIVE
from scalewitness.letters.animals import concerned, describe, notify_concerned
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import as_sold, notify_buyer
from scalewitness.people.queries import keeper_of
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force, progress_of, sales_of_animal


def notify_of_answer(call: Call, fact: UUID, answer: str, owing: Owing) -> None:
    """Holder, partners, earlier sellers, whoever sent the call, and buyers to whom the animal was
    offered after it hear that whom it names denied it, or confirmed it after all. No letter tells
    a sex."""
    sales = sales_of_animal(call.animal_id)
    context = {"answer": answer, "role": call.role, "method": call.method}
    context["examined_at"] = call.examined_at.isoformat()
    notify_concerned(call.animal, "report_answered", fact, context, owing, sales=sales)
    for sale in sales:
        if _rests_on(sale, call):
            bought = {"animal": as_sold(call.animal, sale)}
            notify_buyer(sale, "report_answered_buyer", fact, context | bought, owing)
    sender = keeper_of(call.by)
    if sender is None or sender in concerned(call.animal, owing, sales):
        return
    owing.owe(
        "report_answered",
        cause=fact,
        recipient=sender.pk,
        to=sender.email,
        context={"to_name": sender.name, "animal": describe(call.animal, named=False), **context},
    )


def _rests_on(sale: Sale, call: Call) -> bool:
    offer = offer_in_force(sale)
    return offer is not None and offer.position > call.position and progress_of(sale).state in LIVE
