"""Every page's address by its name in the URL table, filled with the stage's real ids."""

import re
from collections.abc import Mapping

from tests.api.stage import Stage

from scalewitness.pages import urls

NAMES = sorted({pattern.name for pattern in urls.urlpatterns if pattern.name})

WORDS = {"type": "weight", "method": "probing", "path": "app.js", "year": "2027"}
"""Parts of addresses that choose among a few words; ``what`` depends on the page."""
WHAT = {
    "answer_visit": "cancellation",
    "answer_by_letter": "acceptance",
    "sale_step": "withdrawal",
}

HERE = {
    "animal_id": "sold",
    "collection_id": "collection",
    "device_id": "device_owner",
    "grant_id": "grant",
    "photo_id": "photo",
    "quote_id": "quote",
    "pairing_id": "pairing",
    "statement_id": "trait",
    "note_id": "season_note",
    "call_id": "call",
    "examiner_id": "keeper_guest_after",
    "held_id": "held",
    "fact_id": "offer_fact",
    "upload_id": "upload",
    "visit_id": "visit",
    "invitation_id": "by_letter",
    "sale_id": "sale",
    "disclosure_id": "disclosure",
    "dispute_id": "dispute",
    "token": "offer_token",
}
"""By the name of a part, the name of the stage's id that goes there."""
ELSEWHERE: Mapping[str, Mapping[str, str]] = {
    "log_clutch": {"animal_id": "young"},
    "clutch_labels": {"animal_id": "young"},
    "linkage": {"animal_id": "young"},
    "erase_text": {"fact_id": "call"},
    "make_offer": {"sale_id": "draft"},
    "sale_step": {"sale_id": "offered"},
    "send_code": {"token": "code_token"},
    "offer_arrival": {"token": "disclosure_token"},
    "report_problem": {"token": "disclosure_token"},
    "offer_record": {"token": "disclosure_token"},
    "offer_photo": {"photo_id": "offered_photo"},
    "offer_receipt": {"fact_id": "offered_fact"},
    "offer_receipt_file": {"fact_id": "offered_fact"},
    "read_document": {"call_id": "laid"},
    "state_witness": {"call_id": "laid"},
    "reports_by_link": {"token": "reports_token"},
    "answer_by_link": {"token": "reports_token", "call_id": "reported"},
    "sign_out": {"token": "sign_out_token"},
    "calendar_by_link": {"token": "calendar_token"},
    "acknowledge_by_link": {"token": "disclosure_token"},
}
"""Pages that are only about some of them."""


def parts_of(name: str) -> list[str]:
    """The names of what varies in a page's address."""
    return re.findall(r"<(?:\w+:)?(\w+)>", _route(name))


def ids_for(name: str, stage: Stage) -> dict[str, str]:
    """What goes into the address of that page; KeyError where nothing is known to."""
    named = {**HERE, **ELSEWHERE.get(name, {})}
    words = WORDS | {"what": WHAT.get(name, "")}
    return {
        part: words[part] if part in words else stage.ids[named[part]] for part in parts_of(name)
    }


def address(name: str, ids: Mapping[str, str]) -> str:
    return "/" + re.sub(r"<(?:\w+:)?(\w+)>", lambda found: ids[found[1]], _route(name))


def _route(name: str) -> str:
    """As Django's ``path`` would write it, also where it is a regular expression."""
    route = next(str(one.pattern) for one in urls.urlpatterns if one.name == name).strip("^$")
    return re.sub(r"\(\?P(<\w+>)(?:[^()]|\([^()]*\))*\)", r"\1", route)
