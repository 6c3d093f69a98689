"""Every kind of letter, in all three parts, with kind and with hostile values."""

import re
from collections.abc import Mapping
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, get_args
from uuid import UUID

import pytest
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from tests.pages.browser import BARE_ID

from scalewitness import letters
from scalewitness.ledger.services.memory import present_origin
from scalewitness.letters import sales
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import COVER
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import keeper_signing_out, link_token
from scalewitness.sign_in.services import letters as sign_in

pytestmark = pytest.mark.django_db  # the reader's time zone is asked for
LINK = UUID("01936f00-0000-7000-8000-00000000000a")
FACT = "01890000-0000-7000-8000-00000000fac7"
ID = "01936f00-0000-7000-8000-000000000001"
VESPER = {
    "name": "Vesper",
    "species": "ball python",
    "scientific": "Python regius",
    "identifiers": [
        {"scheme": "tag", "code": "R-17"},
        {"scheme": "transponder", "code": "276098100000001"},
    ],
    "id": ID,
}
WAS = {
    "animal": ID,
    "label": "verified male",
    "p_male": "0.997000",
    "p_male_pessimistic": "0.961000",
    "position": 41,
}
NOW = WAS | {
    "label": "contested",
    "p_male": "0.730000",
    "p_male_pessimistic": "0.450000",
    "position": 88,
}
SALE = {
    "sale": ID,
    "to_name": "Bela Novak",
    "buyer_name": "Bela Novak",
    "seller_name": "Odile Marten",
    "animals": [VESPER],
}
TO_SELLER = SALE | {"to_name": "Odile Marten"}
KEEPER = {"to_name": "Odile Marten", "animal": VESPER}
ANSWERED = {
    "answer": "denied",
    "role": "veterinarian",
    "method": "endoscopy",
    "examined_at": "2026-11-20T08:30:00+00:00",
}
LATE_CHECK = {
    "species": "ball python",
    "code": "R-17",
    "examined_at": "2026-11-20T08:30:00.000Z",
    "received_at": "2026-12-18T08:30:00+00:00",
}
ENDED = {"became": "died", "back": False, "at": "2026-11-29T08:30:00+00:00"}
COMPARED = {"answer": "another", "method": "probing", "examined_at": ANSWERED["examined_at"]}
ABOUT_A_DISCLOSURE = KEEPER | {
    "buyer_name": "Bela Novak",
    "owed_at": "2027-01-09T08:30:00+00:00",
    "disclosure": ID,
}
ACCOUNT = {"to_name": "Odile Marten", "at": "2026-11-29T08:30:00+00:00", "sign_out": ID}
FINDING = {
    "outcome": "A call is proposed to be set aside: it counts until somebody else agrees",
    "remedy_found": "refund",
    "word": "The seller says that both sides agree; the buyer has not confirmed it.",
    "recorder": "seller",
    "answered": False,
    "asked": True,
    "would_set_aside": 1,
    "words_of": FACT,
}
ARRIVED = {
    "animal": VESPER,
    "answer": "another",
    "in_words": "another snake arrived, by its buyer’s word; the transponder they read, "
    "276098100000002, is not the one on record",
    "receipt": FACT,
}
CONTEXTS: dict[str, dict[str, Any]] = {
    "visit_invitation": {
        "to_name": "Greta Lund",
        "host_name": "Odile Marten",
        "opens": "2026-11-25T14:05:00+00:00",
        "closes": "2026-11-28T14:05:00+00:00",
        "blind": True,
        "count": 3,
        "visit": ID,
    },
    "visit_by_letter": {
        "to_name": "reader",
        "host_name": "Odile Marten",
        "opens": "2026-11-25T14:05:00+00:00",
        "closes": "2026-11-28T14:05:00+00:00",
        "blind": True,
        "count": 3,
        "visit": ID,
    },
    "offer": SALE
    | {
        "represents": [{"animal": VESPER, "label": "verified male", "p_male": "0.997000"}],
        "claims": 1,
        "recheck_days": 14,
        "days_to_pay": 14,
        "remedy": "refund_or_exchange",
        "expires": "2026-12-02T14:05:00.000Z",
        "position": 42,
        "receipt": FACT,
        "link": str(LINK),
    },
    "sale_confirmed": TO_SELLER | {"receipt": FACT},
    "check_requested": TO_SELLER | {"receipt": FACT},
    "offer_declined": TO_SELLER | {"receipt": FACT},
    "offer_withdrawn": SALE,
    "payment_recorded": SALE | {"link": str(LINK)},
    "handed_over": SALE | {"link": str(LINK)},
    "arrival_compared": TO_SELLER | ARRIVED,
    "arrival_compared_buyer": SALE
    | ARRIVED
    | {"until": "2026-12-14T08:30:00+00:00", "link": str(LINK)}
    | {"seller_email": "odile.marten@keepers.example"},
    "return_claimed": SALE
    | {"animal": VESPER, "at": "2026-11-29T08:30:00+00:00", "days": 14, "link": str(LINK)}
    | {"denied_before": True},
    "return_answered": TO_SELLER | {"animal": VESPER, "answer": "denied"},
    "release_asked": SALE
    | {"why": "paid_back", "at": "2026-11-29T08:30:00+00:00", "link": str(LINK)},
    "release_answered": TO_SELLER | {"why": "paid_back", "agrees": False, "days": 7},
    "released": SALE
    | {"why": "paid_back", "agrees": True, "days": 7}
    | {"seller_email": "odile.marten@keepers.example"},
    "sale_lapsed": SALE | {"seller_email": "odile.marten@keepers.example"},
    "sale_lapsed_seller": TO_SELLER,
    "sold_elsewhere": SALE
    | {
        "animal": VESPER,
        "how": "offer",
        "paid": True,
        "at": "2026-11-29T08:30:00+00:00",
        "seller_email": "odile.marten@keepers.example",
    },
    "sale_held": SALE | {"was": "verified male", "now": "contested", "animal": VESPER},
    "sale_held_seller": TO_SELLER | {"was": "verified male", "now": "contested", "animal": VESPER},
    "disclosure": SALE
    | {
        "disclosure": ID,
        "receipt": FACT,
        "animal": VESPER,
        "change": "fell",
        "was": WAS,
        "now": NOW,
        "represented_at": "2026-11-25T14:05:00+00:00",
        "owed_at": "2027-01-09T08:30:00+00:00",
        "position": 89,
        "recheck_days": 14,
        "remedy": "refund",
        "seller_email": "odile.marten@keepers.example",
        "earlier": [],
        "link": str(LINK),
    },
    "claim_disclosure": SALE
    | {
        "disclosure": ID,
        "receipt": FACT,
        "animal": VESPER,
        "change": "fell",
        "claim": "carries one copy of albino (100 % het)",
        "becomes": "true with a chance of 0.4 in 100, by its proved parents",
        "represented_at": "2026-11-25T14:05:00+00:00",
        "owed_at": "2027-01-09T08:30:00+00:00",
        "position": 89,
        "seller_email": "odile.marten@keepers.example",
        "earlier": [],
        "link": str(LINK),
    },
    "claim_notice": {
        "to_name": "Odile Marten",
        "count": 21,
        "claims": [
            {
                "animal": VESPER,
                "change": "fell",
                "claim": "carries one copy of albino (100 % het)",
                "becomes": "true with a chance of 0.4 in 100, by its proved parents",
            }
        ],
        "more": 1,
    },
    "report_to_answer": {
        "to_name": "Dr. Ines Aldous",
        "senders": [{"id": ID, "name": "Odile Marten"}],
        "count": 2,
        "until": "2027-01-20T08:30:00+00:00",
        "reports_link": str(LINK),
    },
    "late_call_decided": LATE_CHECK
    | {"to_name": "Greta Lund", "host_name": "Odile Marten", "admitted": False, "call": ID},
    "late_note_decided": LATE_CHECK
    | {"to_name": "Greta Lund", "host_name": "Odile Marten", "admitted": False},
    "late_call_waits": KEEPER
    | {"guest_name": "Greta Lund", "count": 1, "days": 7}
    | {one: LATE_CHECK[one] for one in ("examined_at", "received_at")},
    "late_call_waits_guest": LATE_CHECK
    | {"to_name": "Greta Lund", "host_name": "Odile Marten", "count": 2, "days": 30},
    "report_answered": KEEPER | ANSWERED,
    "report_answered_buyer": SALE | {"animal": VESPER} | ANSWERED,
    "photos_compared": KEEPER | COMPARED,
    "photos_compared_buyer": SALE | {"animal": VESPER} | COMPARED,
    "disclosure_undelivered": ABOUT_A_DISCLOSURE,
    "disclosure_silent": ABOUT_A_DISCLOSURE,
    "disclosure_reminder": {
        "to_name": "Bela Novak",
        "seller_name": "Odile Marten",
        "animal": VESPER,
        "change": "fell",
        "owed_at": "2027-01-09T08:30:00+00:00",
        "link": str(LINK),
    },
    "second_factor": ACCOUNT | {"event": "passkey_added"},
    "address_changed": {
        "to_name": "Bela Novak",
        "seller_name": "Odile Marten",
        "by_seller": True,
        "at": "2026-11-29T08:30:00+00:00",
    },
    "address_in_use": {"to_name": "reader", "at": "2026-11-29T08:30:00+00:00"},
    "device_added": ACCOUNT | {"device": "Rack phone"},
    "browser_signs": ACCOUNT | {"device": "Browser at the desk"},
    "key_enrolled": ACCOUNT | {"device": "Rack phone", "until": "2026-12-02T08:30:00+00:00"},
    "signing_notice_given": ACCOUNT | {"ends": "2026-12-13T08:30:00+00:00"},
    "signing_notice_stopped": ACCOUNT,
    "recovery_key_counts": ACCOUNT,
    "recovery_key_used": ACCOUNT | {"fact": "device_key_endorsed"},
    "password_changed": ACCOUNT | {"kept": False, "by_letter": True},
    "signing_in_moved": ACCOUNT,
    "address_added": ACCOUNT,
    "confirm_address": {"to_name": "reader", "confirm": 7},
    "account_exists": {"to_name": "reader", "reset": ID},
    "reset_password": {"to_name": "reader", "reset": ID},
    "no_account": {"to_name": "reader"},
    "backup_trouble": {
        "to_name": "Odile Marten",
        "part": "drill",
        "how": "failed",
        "since": "2026-11-29T05:41:00+00:00",
        "good_at": "2026-11-22T05:40:00+00:00",
    },
    "digest": {
        "to_name": "Odile Marten",
        "counts": {"undelivered": 1, "unacknowledged": 2, "held_sales": 1, "disputes": 3},
    },
    "animal_ended": KEEPER | ENDED,
    "animal_ended_buyer": SALE | {"animal": VESPER, "unpaid": False} | ENDED,
    "standing_notice": KEEPER | {"change": "fell", "was": "verified male", "now": "contested"},
    "recheck_asked": KEEPER | {"label": "verified male"},
    "pairing_affected": KEEPER
    | {
        "was": "verified male",
        "now": "contested",
        "pairings": [
            {"mate": VESPER, "season": 2027, "sex": "male", "change": "fell"},
            {"mate": None, "season": 2028, "sex": "male", "change": "reversed"},
            {"mate": None, "season": 2029, "sex": "male", "change": "turned"},
            {"mate": None, "season": 2029, "sex": "female", "change": "eased"},
        ],
        "plans": [{"season": 2027, "collection": ID}],
    },
    "named_as_one": KEEPER | {"until": "2026-12-13T09:00:00+00:00"},
    "named_as_one_answered": KEEPER | {"right": False},
    "number_known": KEEPER | {"number": "276098100000001", "which": "newer"},
    "number_moved": KEEPER | {"number": "276098100000001", "how": "given"},
    "joining_proposed": KEEPER | {"number": "276098100000001", "parts": False, "by": "Stan Okoro"},
    "joining_answered": KEEPER
    | {
        "number": "276098100000001",
        "parts": False,
        "by": "Stan Okoro",
        "agrees": True,
        "found": False,
    },
    "rule_changed": {"to_name": "Odile Marten", "rule": ID, "cause_kind": "policy_adopted"},
    "dispute_opened": KEEPER | {"ground": "contested_standing", "dispute": ID},
    "confirmation_code": SALE | {"code_id": ID},
    "statement_made": KEEPER | {"dispute": ID, "stated_by": "the buyer"},
    "dispute_opened_buyer": SALE | {"animal": VESPER, "own": True, "link": str(LINK)},
    "statement_made_buyer": SALE
    | {"animal": VESPER, "stated_by": "the seller", "words_of": FACT, "link": str(LINK)},
    "finding": SALE | FINDING | {"animal": VESPER, "link": str(LINK)},
    "finding_keeper": KEEPER | FINDING | {"dispute": ID},
}
KINDS = sorted(CONTEXTS)


def write(kind: str, context: Mapping[str, Any]) -> EmailMultiAlternatives:
    return compose(
        Letter(
            id=UUID(ID),
            kind=kind,
            cause=UUID(ID),
            recipient=UUID(ID),
            to="somebody@people.example",
            context=dict(context),
            message_id=f"<{kind}@testserver>",
        )
    )


def html_of(message: EmailMultiAlternatives) -> str:
    alternative = message.alternatives[0]
    assert alternative.mimetype == "text/html"
    return str(alternative.content)


class _Page(HTMLParser):
    """Collects text, tags and addresses, as a mail program would read them."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.words: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in {"href", "src"}]

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def test_every_kind_that_is_queued_is_written_here() -> None:
    """The list of kinds is read from the code that queues them, so none is forgotten."""
    queued = {COVER, *sales.TO_BUYER, *sales.TO_SELLER}
    room = Path(letters.__file__).parent
    for module in (*room.glob("*.py"), Path(sign_in.__file__)):
        text = module.read_text()
        queued |= set(re.findall(r'owing.owe\(\s*"(\w+)"', text))
        queued |= set(re.findall(r'notify_(?:buyer|seller)\(\s*\w+(?:\.\w+)?,\s*"(\w+)"', text))
        queued |= set(re.findall(r'(?:_tell|notify_concerned)\(\s*(?:\w+, \w+, )?"(\w+)"', text))
        queued |= set(re.findall(r'_tell_buyer\(\w+, sale, "(\w+)"', text))
        queued |= set(re.findall(r'_notify_seller\(owed, "(\w+)"', text))
        queued |= set(re.findall(r'kind="(\w+)"', text))
        queued |= set(re.findall(r'" if \w+ else "(\w+)"', text))
        queued |= set(re.findall(r'write_to_claimed\("(\w+)"', text))
    assert queued == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_each_letter_has_a_subject_a_text_and_an_html_part(kind: str) -> None:
    message = write(kind, CONTEXTS[kind])
    page = _Page(html_of(message))
    assert 10 < len(message.subject) < 100
    for part in (str(message.body), page.text):
        assert f"Dear {CONTEXTS[kind]['to_name']}," in part
        assert "{{" not in part
        assert "{%" not in part
        assert "None" not in part
        assert "\n\n\n\n" not in part
        assert not BARE_ID.search(re.sub(r"https?://\S+", "", part)), "an id, outside a link"
    assert "img" not in page.tags
    assert "script" not in page.tags


NAMES_NO_ANIMAL = {"confirmation_code", "address_changed"}
"""Of a sale, yet read on a screen where one digit matters, or of no animal."""


@pytest.mark.parametrize("kind", KINDS)
def test_each_subject_begins_with_the_news_and_ends_with_the_animal(kind: str) -> None:
    """A phone shows some forty letters of it."""
    subject, context = write(kind, CONTEXTS[kind]).subject, CONTEXTS[kind]
    if kind in NAMES_NO_ANIMAL or not ("animal" in context or "animals" in context):
        return
    assert subject.endswith(" Vesper"), subject
    news = subject.removesuffix(" Vesper")
    assert news.endswith((":", "?")), subject
    assert "Vesper" not in news
    assert len(news) <= 60, subject


@pytest.mark.parametrize(
    ("change", "now", "subject"),
    [
        ("fell", "contested", "No longer verified female: Nettle"),
        ("reversed", "verified male", "Now verified male, no longer verified female: Nettle"),
        ("restored", "verified female", "Verified female again: Nettle"),
    ],
)
def test_a_changed_sex_is_the_first_thing_said(change: str, now: str, subject: str) -> None:
    """To the keeper and to the buyer alike."""
    about = {"animal": VESPER | {"name": "Nettle"}, "change": change}
    keeper = CONTEXTS["standing_notice"] | about | {"was": "verified female", "now": now}
    assert write("standing_notice", keeper).subject == subject
    buyer = CONTEXTS["disclosure"] | about
    buyer |= {"was": WAS | {"label": "verified female"}, "now": NOW | {"label": now}}
    assert write("disclosure", buyer).subject == subject


@pytest.mark.parametrize(
    ("became", "back", "subject"),
    [
        ("died", False, "Died: Vesper"),
        ("is lost", False, "Lost: Vesper"),
        ("was stolen", False, "Stolen: Vesper"),
        ("was found again", True, "There again: Vesper"),
    ],
)
def test_what_became_of_an_animal_is_the_first_word(became: str, back: bool, subject: str) -> None:
    told = CONTEXTS["animal_ended"] | {"became": became, "back": back}
    assert write("animal_ended", told).subject == subject


@pytest.mark.parametrize("kind", KINDS)
def test_both_parts_lead_to_the_same_place(kind: str) -> None:
    """Whoever reads text only must be able to do the same as whoever reads HTML."""
    message = write(kind, CONTEXTS[kind])
    in_html = {one for one in _Page(html_of(message)).addresses if one.startswith("http")}
    in_text = set(re.findall(r"https?://\S+", str(message.body)))
    assert in_text == in_html
    if "confirm" in CONTEXTS[kind]:
        (only,) = in_text
        assert only.startswith("http://testserver/accounts/confirm-email/Nw:"), "7, signed"
        return
    if "sign_out" in CONTEXTS[kind]:
        (only,) = in_text  # derived anew each second
        token = only.removeprefix("http://testserver/sign-out/")
        assert keeper_signing_out(token) == UUID(ID)
        return
    link, own = f"http://testserver/offers/{link_token(LINK)}", f"http://testserver/sales/{ID}"
    receipts = f"http://testserver/receipts/{FACT}"
    expected = {
        "visit_invitation": {f"http://testserver/visits/{ID}"},
        "visit_by_letter": {f"http://testserver/visits/by-letter/{ID}"},
        "offer": {link, f"{link}/receipts/{FACT}"},
        "disclosure": {link, f"{link}/receipts/{FACT}"},
        "claim_disclosure": {link, f"{link}/receipts/{FACT}"},
        "claim_notice": {"http://testserver/animals"},
        "sale_confirmed": {own, receipts},
        "check_requested": {own, receipts},
        "offer_declined": {own, receipts},
        "sale_held_seller": {own},
        "sale_lapsed_seller": {own},
        "animal_ended": {f"http://testserver/animals/{ID}"},
        "named_as_one": {"http://testserver/account/one-examiner"},
        "named_as_one_answered": {"http://testserver/account/one-examiner"},
        "number_known": {f"http://testserver/animals/{ID}"},
        "number_moved": {f"http://testserver/animals/{ID}"},
        "joining_proposed": {f"http://testserver/animals/{ID}"},
        "joining_answered": {f"http://testserver/animals/{ID}"},
        "standing_notice": {f"http://testserver/animals/{ID}"},
        "recheck_asked": {f"http://testserver/animals/{ID}"},
        "report_to_answer": {f"http://testserver/reports/by-link/{link_token(LINK)}"},
        "late_call_decided": {f"http://testserver/calls/{ID}"},
        "late_note_decided": {"http://testserver/held-calls"},
        "late_call_waits": {"http://testserver/held-calls"},
        "late_call_waits_guest": {"http://testserver/held-calls"},
        "report_answered": {f"http://testserver/animals/{ID}"},
        "photos_compared": {f"http://testserver/animals/{ID}"},
        "pairing_affected": {
            f"http://testserver/animals/{ID}",
            f"http://testserver/collections/{ID}/seasons/2027",
            "http://testserver/pairings",
        },
        "dispute_opened": {f"http://testserver/disputes/{ID}"},
        "statement_made": {f"http://testserver/disputes/{ID}"},
        "finding": {f"{link}/animals/{ID}/problem"},
        "dispute_opened_buyer": {f"{link}/animals/{ID}/problem"},
        "statement_made_buyer": {f"{link}/animals/{ID}/problem"},
        "finding_keeper": {f"http://testserver/disputes/{ID}"},
        "disclosure_undelivered": {f"http://testserver/disclosures/{ID}"},
        "disclosure_silent": {f"http://testserver/disclosures/{ID}"},
        "disclosure_reminder": {link},
        "account_exists": {"http://testserver/accounts/password/reset/"},  # no such keeper
        "reset_password": {"http://testserver/accounts/password/reset/"},
        "no_account": {"http://testserver/accounts/signup/"},
        "payment_recorded": {link},
        "handed_over": {link},
        "backup_trouble": {"http://testserver"},
        "arrival_compared": {own, receipts},
        "arrival_compared_buyer": {f"{link}/animals/{ID}/arrival", f"{link}/receipts/{FACT}"},
        "return_claimed": {link},
        "return_answered": {own},
        "release_asked": {link},
        "release_answered": {own},
        "digest": {
            f"http://testserver/{one}" for one in ("disclosures", "sales", "disputes", "account")
        },
    }
    assert in_text == expected.get(kind, set())


def poisoned(value: Any) -> Any:
    """Every piece of text a person typed, made hostile; closed words and ids kept."""
    if isinstance(value, list):
        return [poisoned(one) for one in value]
    if not isinstance(value, dict):
        return value
    typed = {"to_name", "host_name", "buyer_name", "seller_name", "name", "code", "device"}
    evil = "<script>alert(1)</script>\r\nBcc: everyone@evil.example\n\nPay now \u202egnp.exe & go"
    return {key: evil if key in typed else poisoned(one) for key, one in value.items()}


@pytest.mark.parametrize("kind", KINDS)
def test_hostile_names_break_neither_headers_nor_text_nor_html(kind: str) -> None:
    message = write(kind, poisoned(CONTEXTS[kind]))
    sent = message.message()
    assert sent["Bcc"] is None
    assert message.recipients() == ["somebody@people.example"]
    assert "\n" not in message.subject
    body = str(message.body)
    assert not any(one.startswith(("Bcc:", "Pay now")) for one in body.splitlines())
    assert "\u202e" not in body
    html = html_of(message)
    page = _Page(html)
    assert "script" not in page.tags
    assert "&lt;script&gt;" in html
    assert "\u202e" not in html
    assert "&amp;lt;" not in html, "escaped twice"


@pytest.mark.parametrize("becomes", ["true with a chance of 0.4 in 100", "stands again"])
def test_a_planned_pairing_that_rests_on_a_claim_is_told_of_no_sex(becomes: str) -> None:
    claim = {"claim": "carries one of albino", "becomes": becomes, "position": 41}
    pairings = [{"mate": VESPER, "season": 2027, "sex": "male"}]
    plans = [{"season": 2027, "collection": ID}]
    context = KEEPER | claim | {"pairings": pairings, "plans": plans}
    message = write("pairing_affected", context)
    inside = [
        render_to_string(f"letters/_inside/pairing_affected.{kind}", context)
        for kind in ("txt", "html")
    ]
    for part in (str(message.body), _Page(html_of(message)).text, *inside):
        assert "carries one of albino" in part
        assert becomes in part
        assert "verif" not in part
        assert "Have its sex checked" not in part
        assert "laboratory" in part
    assert f"/collections/{ID}/seasons/2027" in str(message.body)


def test_text_parts_are_not_html_escaped() -> None:
    message = write("sale_confirmed", TO_SELLER | {"buyer_name": "O'Neil & Daughters"})
    assert message.subject == "Offer confirmed by O'Neil & Daughters: Vesper"
    assert "O'Neil & Daughters read what the record says" in str(message.body)


def test_the_disclosure_shows_both_versions_and_what_to_do() -> None:
    """The contents a corrected report owes: both versions, each dated, the reason, and
    what to do (42 CFR 493.1291(k) asks to keep and show original and corrected)."""
    message = write("disclosure", CONTEXTS["disclosure"])
    for part in (" ".join(str(message.body).split()), _Page(html_of(message)).text):
        lower = part.lower()
        assert "what was represented to you" in lower
        assert "what the record says now" in lower
        assert "verified male" in part
        assert "contested" in part
        assert "about 997 in 1,000 would be male" in lower
        assert "about 73 in 100 would be male" in lower
        assert "25 November 2026, 14:05 UTC" in part
        assert "9 January 2027, 08:30 UTC" in part
        assert f"positions in the log {present_origin()}: what you were told, 41;" in lower
        assert "88; this disclosure, 89." in lower
        assert "why it changed" in lower
        assert "independent keeper or a reptile veterinarian" in part
        assert "the price is refunded" in part
        assert "odile.marten@keepers.example" in part
        assert "local consumer law come first" in part
        assert "can change again" in part
        assert "does not mean that it is wrong" in part


@pytest.mark.parametrize(
    ("change", "says", "not_said"),
    [
        ("fell", "no longer verified", "verified again"),
        ("reversed", "the other", "verified again"),
        ("restored", "verified again", "Hold back any pairing"),
    ],
)
def test_a_disclosure_says_which_way_the_record_went(change: str, says: str, not_said: str) -> None:
    message = write("disclosure", CONTEXTS["disclosure"] | {"change": change})
    for part in (" ".join(str(message.body).split()), _Page(html_of(message)).text):
        assert says in part
        assert not_said not in part


def test_an_invitation_tells_a_blind_guest_nothing_of_the_animals() -> None:
    message = write("visit_invitation", CONTEXTS["visit_invitation"])
    for part in (message.subject, str(message.body), _Page(html_of(message)).text):
        assert re.search(r"\b(male|female|verified|probable|contested|unsexed)\b", part) is None
    assert "3 snakes" in message.subject


def test_an_open_visit_is_not_called_blind() -> None:
    message = write("visit_invitation", CONTEXTS["visit_invitation"] | {"blind": False})
    assert "blind" not in str(message.body)
    assert "blind" not in _Page(html_of(message)).text


def test_each_event_of_a_second_factor_is_told_in_words_of_its_own() -> None:
    written = [
        write("second_factor", CONTEXTS["second_factor"] | {"event": event})
        for event in get_args(sign_in.Event)
    ]
    assert len({one.subject for one in written}) == len(get_args(sign_in.Event))
    assert len({str(one.body) for one in written}) == len(get_args(sign_in.Event))
