"""Every page with everyone: who may open it, and whose form gets into the log.

The tables are written by hand, and name every page of the URL table."""

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone
from pytest_django import DjangoDbBlocker
from tests.api.stage import PERSONAS, Stage, set_stage
from tests.pages.addresses import NAMES, address, ids_for
from tests.pages.browser import Browser, Form, Page, check_markup
from tests.plugins.own_database import own_copy
from tests.turns import turns
from tests.world import new_id

from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.domain.moments import rfc3339
from scalewitness.ledger.models import Entry
from scalewitness.mail.services.links import link_token
from scalewitness.people.models import Keeper
from scalewitness.sales.models import OfferLink, Sale

SIGNED_IN = tuple(one for one in PERSONAS if one != "anonymous")
STEWARDS = ("owner", "partner")
SEES_WHOLE = (*STEWARDS, "viewer", "guest_after")
SEES_SOME = (*SEES_WHOLE, "guest_before")
INVITED = (*STEWARDS, "guest_before")

OPEN: dict[tuple[str, ...], str] = {
    PERSONAS: """about example home kept log sign_out
        answer_by_link offer offer_address offer_photo offer_receipt offer_receipt_file offer_record
        calendar_by_link offer_arrival report_problem reports_by_link""",
    SIGNED_IN: """account add_device animals calendar disclosures disputes held_calls
        import_animals learned lost_devices new_collection one_examiner own_data pairings
        recovery_key reports sales this_browser visits vouching""",
    SEES_SOME: "animal attach_photo choose_method husbandry make_call",
    SEES_WHOLE: """bundle carries dispute dispute_folder examiner history object_to_call photo
        print_dispute print_record proof prospects quoted_file read_document state_trait
        state_witness traits what_if""",
    INVITED: "sheet visit",
    STEWARDS: """agreement clutch_labels clutches collection compare_labels correct_address custody
        disclosure_letter draft_sale edit_record edit_wants end give_access identifier
        invite join_records linkage log_clutch make_offer note_season open_dispute
        pairing_season particulars plan_checks plan_pairing plan_visit quote_record receipt
        receipt_file register register_clutch registered_in_error rename_collection sale season
        withdraw_identifier""",
    (*STEWARDS, "buyer"): "disclosure",
    ("buyer",): "arrival",
    ("owner", "viewer"): "by_letter",
    (): "answer_report compare_photos place refile_call withdraw_witness",
    ("owner",): "accepted device erase_text look_at_list refused_lines withdraw_call",
}
"""Who may open which page; everybody else who is signed in is told that there is none."""
LED = {("dispute", "buyer")}
"""Who is led to what their own link shows."""
FORMS = """accept_change acknowledge_by_link acknowledge_disclosure agree_to_pairing
    answer_by_buyer answer_by_letter answer_finding answer_visit ask_best ask_for_check
    calendar_link choose_digest choose_habits confirm_offer decide_held decline_offer
    drop_pairing end_grant forget_list make_statement offer_release offer_reminders
    offer_return record_finding recover revoke_device sale_step send_code store_import
    take_browsers_zone with_chosen withdraw_note withdraw_trait"""
"""Addresses that only take a form; whoever opens one is led elsewhere."""
OTHER = "rackside"
"""Files, the same for all: see test_rackside."""

SAYS: dict[str, tuple[str, ...]] = {
    "answer_visit": STEWARDS,
    "answer_by_letter": ("viewer",),
    "sale_step": STEWARDS,
    "record_finding": STEWARDS,
    "make_statement": STEWARDS,
    "drop_pairing": STEWARDS,
    "withdraw_trait": ("owner",),
    "withdraw_note": ("owner",),
    "end_grant": ("owner", "viewer"),
    "decide_held": STEWARDS,
    "withdraw_call": ("owner",),
    "object_to_call": ("partner", "viewer", "guest_after"),
    "read_document": ("viewer", "guest_after"),
    "state_witness": ("viewer", "guest_after"),
    "answer_by_link": PERSONAS,
    "acknowledge_disclosure": ("buyer",),
    "acknowledge_by_link": PERSONAS,
    "decline_offer": PERSONAS,
    "ask_for_check": PERSONAS,
}
"""Whose form, sent to that address, becomes a fact. A buyer makes statements through their link."""


@pytest.fixture(scope="module")
def stage(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[Stage]:
    with own_copy(untouched_database, django_db_blocker):
        yield set_stage()


def reader(stage: Stage, persona: str) -> Browser:
    if persona == "anonymous":
        return Browser()
    browser = Browser(Keeper.objects.get(pk=stage.ids[f"keeper_{persona}"]))
    browser.again()
    browser.client.raise_request_exception = False
    return browser


def shown(answer: Any) -> int:
    """The status; 401 for the way to the door."""
    if answer.status_code == 302 and answer["Location"].startswith("/accounts/login/"):
        return 401
    return int(answer.status_code)


def content(answer: Any) -> bytes:
    return b"".join(answer) if answer.streaming else bytes(answer.content)


def test_the_tables_name_every_page() -> None:
    named = [name for names in OPEN.values() for name in names.split()] + FORMS.split() + [OTHER]
    assert sorted(named) == NAMES
    assert SAYS.keys() <= set(NAMES)


@pytest.mark.parametrize("persona", PERSONAS)
@pytest.mark.some(1, besides=("guest_before", "stranger"))
def test_everyone_opens_exactly_the_pages_of_the_table(stage: Stage, persona: str) -> None:
    browser, wrong = reader(stage, persona), []
    for who, names in OPEN.items():
        expected = 200 if persona in who else 401 if persona == "anonymous" else 404
        for name in names.split():
            status = shown(browser.client.get(address(name, ids_for(name, stage))))
            if status != (302 if (name, persona) in LED else expected):
                wrong.append((name, status, expected))
    for name in FORMS.split():
        answer = browser.client.get(address(name, ids_for(name, stage)))
        if answer.status_code != 302:
            wrong.append((name, answer.status_code, 302))
    assert wrong == []


def form(stage: Stage) -> dict[str, Any]:
    """What the forms above ask for, all at once."""
    return {
        "id": str(new_id()),
        "at": rfc3339(timezone.now()),
        "reasons": "Both were heard.",
        "statement": "It was probed twice.",
        "ground": "wrong_animal",
        "outcome": "unresolved",
        "remedy": "none",
        "admitted": "yes",
        "answer": "denied",
    }


def facts_said(browser: Browser, path: str, stage: Stage) -> list[str]:
    """The kinds of facts that the form adds to the log; taken back afterwards."""
    with transaction.atomic():
        before = Entry.objects.count()
        browser.client.post(path, form(stage))
        new = Entry.objects.filter(position__gte=before).order_by("position")
        kinds = list(new.values_list("kind", flat=True))
        transaction.set_rollback(True)
    return kinds


@pytest.mark.parametrize("persona", PERSONAS)
@pytest.mark.some(1, besides=("guest_before", "stranger"))
def test_only_theirs_to_say_becomes_a_fact(stage: Stage, persona: str) -> None:
    browser, wrong = reader(stage, persona), []
    for name, who in SAYS.items():
        said = facts_said(browser, address(name, ids_for(name, stage)), stage)
        if bool(said) != (persona in who):
            wrong.append((name, said))
    assert wrong == []


def test_an_offers_link_acknowledges_no_disclosure(stage: Stage) -> None:
    """Not even of the same sale: it may have gone on to somebody else."""
    sale = Sale.objects.get(pk=stage.ids["sale"])
    offered = OfferLink.objects.create(
        id=new_id(),
        sale=sale,
        offer=stage.ids["offer_fact"],
        purpose="offer",
        expires_at=timezone.now() + timedelta(days=1),
    )
    owed = {"disclosure_id": stage.ids["disclosure"]}
    lasting = {"token": stage.ids["disclosure_token"], **owed}
    anyone = Browser()
    path = address("acknowledge_by_link", {"token": link_token(offered.pk), **owed})
    assert facts_said(anyone, path, stage) == []
    assert anyone.client.post(path, form(stage)).status_code == 404
    path = address("acknowledge_by_link", lasting)
    assert facts_said(anyone, path, stage) == ["disclosure_acknowledged"]
    other = {"token": stage.ids["offer_token"], **owed}
    assert facts_said(anyone, address("acknowledge_by_link", other), stage) == []


def test_a_disclosures_link_answers_no_offer(stage: Stage) -> None:
    lasting = {"token": stage.ids["disclosure_token"]}
    for name in ("decline_offer", "ask_for_check"):
        assert facts_said(Browser(), address(name, lasting), stage) == []


SEX = re.compile(r"\b(?:fe)?males?\b|\b(?:verified|probable) (?:fe)?male|contested")
OTHERS_LINKS = {"report_problem", "sign_out"}
ABOUT_SEX = {"choose_method", "make_call", "invite", "about", "example", "log"}
"""Pages whose words, the same for everybody, name the sexes."""


@pytest.mark.parametrize("persona", ["guest_before"])
def test_a_blind_guest_learns_nothing_from_any_page(stage: Stage, persona: str) -> None:
    browser = reader(stage, persona)
    for name in sorted(set(NAMES) - {OTHER}):
        if name.startswith("offer") or name.endswith("by_link") or name in OTHERS_LINKS:
            continue  # whoever has the link is the buyer or the practitioner
        answer = browser.client.get(address(name, ids_for(name, stage)))
        given = content(answer).decode(errors="replace") + str(dict(answer.headers))
        asked = address(name, ids_for(name, stage))
        found = [one for one in stage.secrets if one in given and one not in asked]
        assert found == [], name
        if name not in ABOUT_SEX:
            assert SEX.findall(given) == [], name


def test_an_older_call_of_theirs_opens_nothing_on_a_new_blind_visit(stage: Stage) -> None:
    """Their own call is theirs to read again; beside it are no others, and no record."""
    world, after = stage.world, Keeper.objects.get(pk=stage.ids["keeper_guest_after"])
    with transaction.atomic():
        world.now = timezone.now()
        sold = Dispute.objects.get(pk=stage.ids["dispute"]).animal
        world.say(world.odile, "visit_cancelled", stage.ids["visit_after"])  # type: ignore[arg-type]
        world.visit(after, sold)
        browser = reader(stage, "guest_after")
        own = browser.client.get(f"/calls/{stage.ids['call_after']}")
        text = content(own).decode()
        assert own.status_code == 200
        others = sold.calls.exclude(pk=stage.ids["call_after"])
        assert [call.pk for call in others if str(call.pk) in text] == []
        for hidden in ("Odile", "Guest V1", "contested", "verified", "Duchess Marigold"):
            assert hidden not in text, hidden
        for name in ("print_record", "history", "what_if", "photo", "dispute", "print_dispute"):
            ids = ids_for(name, stage)
            assert browser.client.get(address(name, ids)).status_code == 404, name
        assert "Duchess" not in content(browser.client.get(f"/animals/{sold.pk}")).decode()
        transaction.set_rollback(True)


def test_the_disclosure_of_the_stage_waits_for_its_buyer(stage: Stage) -> None:
    """So that the tests above send their forms to something that can still be acknowledged."""
    assert not hasattr(Disclosure.objects.get(pk=stage.ids["disclosure"]), "acknowledgement")


SPOILT = "w" * 5000
"""Too long for any field, and neither a number nor a day."""
TYPED = {"text", "email", "number", "date", "datetime-local", "textarea"}
REFUSES = """account add_device answer_by_link arrival attach_photo correct_address custody
    dispute draft_sale edit_record edit_wants end give_access husbandry identifier
    import_animals invite join_records linkage log_clutch login/ make_call make_offer
    new_collection note_season object_to_call offer offer_address offer_arrival
    open_dispute particulars password/change/ password/reset/ plan_pairing quote_record
    read_document register register_clutch registered_in_error rename_collection report_problem sale
    season signup/ state_trait state_witness this_browser vouching withdraw_call
    withdraw_identifier"""
"""Pages with a form that is refused when all that can be typed is nonsense."""
READERS = ("anonymous", "owner", "buyer")
"""Who between them open every page with a form."""
ACCOUNT = {
    "anonymous": ("login/", "signup/", "password/reset/"),
    "owner": ("password/change/",),
}


def test_a_refused_form_says_why_at_the_top_and_loses_nothing(
    stage: Stage, request: pytest.FixtureRequest
) -> None:
    """An ordinary run asks one in three of them, others with each seed."""
    whose = turns(request.config, 3)
    asked, refused, wrong = set(), set(), []
    for persona in READERS:
        browser = reader(stage, persona)
        paths = {name: address(name, ids_for(name, stage)) for name in _pages_of(persona)}
        paths |= {one: f"/accounts/{one}" for one in ACCOUNT.get(persona, ())}
        for name, path in paths.items():
            if not next(whose):
                continue
            asked.add(name)
            for one in browser.open(path).forms:
                answer = _spoilt(browser, one) if one.method == "post" else None
                if answer and "autofocus" in answer.html:
                    refused.add(name)
                    wrong += [(name, one.action, why) for why in _faults(one, answer)]
                elif answer and answer.status not in {200, 302}:
                    wrong.append((name, one.action, str(answer.status)))
    assert wrong == []
    assert sorted(refused) == sorted(asked & {*REFUSES.split()})


def _pages_of(persona: str) -> list[str]:
    """Those that no reader named before can open."""
    before = set(READERS[: READERS.index(persona)])
    rows = ((who, name) for who, names in OPEN.items() for name in names.split())
    return [name for who, name in rows if persona in who and not before & set(who)]


def _spoilt(browser: Browser, form: Form) -> Page:
    """The answer to nonsense; what became of it is taken back."""
    with transaction.atomic():
        answer = browser.client.post(form.action, {**form.values, **_typed(form)})
        transaction.set_rollback(True)
    return Page(answer, form.action)


def _typed(form: Form) -> dict[str, str]:
    return {name: SPOILT for name, kind in form.names.items() if kind in TYPED}


def _faults(form: Form, refused: Page) -> Iterator[str]:
    """What a refused form's page lacks."""
    check_markup(refused)
    typed = _typed(form)
    if refused.status not in {403, 409, 422} and not form.action.startswith("/accounts/"):
        yield f"answers {refused.status}"
    first = next(given for tag, given in refused.tags if tag == "h1" or "autofocus" in given)
    if (first.get("role"), first.get("tabindex")) != ("alert", "-1"):
        yield "has no summary before its heading"
    if typed and not [one for one in refused.links if one.startswith("#") and one != "#main"]:
        yield "leads to no field"
    kept = [one.values for one in refused.forms if typed.keys() <= one.names.keys()]
    lost = [{name for name in typed if one.get(name) != [SPOILT]} for one in kept]
    if set() not in lost:
        yield f"has lost what was typed: {lost}"
