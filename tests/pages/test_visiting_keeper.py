"""A keeper is invited, sees nothing beforehand, checks, and only then reads the rest."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from tests.pages.browser import Browser, Page
from tests.pages.conftest import MALE, Here
from tests.plugins.told_once import told_once

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.moments import rfc3339
from scalewitness.sales.models import Sale
from scalewitness.visits.models import Visit

pytestmark = pytest.mark.one_in(2)

SEX = re.compile(r"\b(male|female|verified|probable|contested|unsexed|sire|dam)\b", re.IGNORECASE)
PROBED = {
    "left": "9",
    "left_stopped": "resistance",
    "right": "8.5",
    "right_stopped": "resistance",
    "probe_mm": "1.5",
    "conclusion": "male",
    "sureness": "fairly_sure",
    "identified_by": "tag",
    "code": "R-17",
    "told": "no",
    "held_by": "second_person",
    "note": "Tensed at first.",
}


@told_once
def barnaby(here: Here) -> Animal:
    """Verified male, with a telling name, kept by Odile."""
    animal = here.verified("R-17")
    here.name(animal, MALE, rack="Males, shelf 2", description="Proven breeder male.")
    here.now_is_now()
    return animal


def log_a_probing(guest: Browser, animal: Animal, **more: str) -> Page:
    return guest.fill(f"/animals/{animal.pk}/calls/new/probing", **(PROBED | more))


def anonymous(page: Page, code: str) -> str:
    """A page's markup with everything that differs between any two animals taken out."""
    html = page.html.replace(code, "CODE")
    for changing in (
        r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}",
        r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z",
        r'name="csrfmiddlewaretoken" value="\w+"',
        r"\d+ November 2026, \d\d:\d\d UTC|\d+ \w+ \d{4}, \d\d:\d\d UTC",
    ):
        html = re.sub(changing, "*", html)
    return html


def test_host_invites_guest_accepts_and_sees_the_sheet(
    here: Here, odile: Browser, greta: Browser, barnaby: Animal
) -> None:
    here.invite(here.greta, here.animal("R-16"))  # so that Odile knows her
    form = odile.open(f"/collections/{here.collection.pk}/visits/new").form()
    invited = odile.send(form, guest=str(here.greta.pk), animals=[str(barnaby.pk)])
    visit = Visit.objects.get(guest=here.greta, animals=barnaby)
    assert invited.goes_to == f"/visits/{visit.pk}"

    assert "You are invited to a check" in greta.open("/").text
    invitation = greta.open(f"/visits/{visit.pk}")
    assert "Odile Marten invites you to check 1 snake" in invitation.text
    assert greta.send(invitation.form("/acceptance")).status == 302
    assert "Open the sheet" in greta.open(f"/visits/{visit.pk}").text
    sheet = greta.open(f"/visits/{visit.pk}/sheet")
    assert "R-17" in sheet.text
    assert f"/animals/{barnaby.pk}/calls/new/probing" in sheet.links


def test_a_visit_can_be_declined_and_called_off(
    here: Here, odile: Browser, greta: Browser, barnaby: Animal
) -> None:
    declined = here.invite(here.greta, barnaby)
    greta.send(greta.open(f"/visits/{declined}").form("/refusal"))
    assert "Declined" in greta.open(f"/visits/{declined}").text
    open_visit = here.visit(here.greta, barnaby)
    assert greta.open(f"/animals/{barnaby.pk}").status == 200
    odile.send(odile.open(f"/visits/{open_visit}").form("/cancellation"))
    assert greta.open(f"/animals/{barnaby.pk}").status == 404


def test_no_page_names_a_sex_or_a_name_to_a_blind_guest(
    here: Here, greta: Browser, barnaby: Animal
) -> None:
    visit = here.visit(here.greta, barnaby)
    for path in (
        f"/visits/{visit}/sheet",
        f"/visits/{visit}",
        f"/animals/{barnaby.pk}",
        f"/animals/{barnaby.pk}/husbandry/weight",
        "/animals",
        "/visits",
        "/",
    ):
        page = greta.open(path)
        assert page.status == 200, path
        for telling in (MALE, "shelf 2", "Guest R-17", "breeder", "long room"):
            assert telling not in page.html, (path, telling)
        # What is said to everyone before any check names both sexes.
        text = page.text.replace(" ".join(BEFORE_A_CHECK), "")
        assert SEX.search(text) is None, path


@pytest.mark.one_in(1)
def test_pages_are_alike_whatever_the_record_says(here: Here, greta: Browser) -> None:
    """The whole markup a blind guest is sent is the same for a verified male, a verified
    female, a contested animal and one that nobody ever checked."""
    animals = {
        "R-41": here.verified("R-41", "male"),
        "R-42": here.verified("R-42", "female"),
        "R-43": here.verified("R-43", "male"),
        "R-44": here.animal("R-44"),
    }
    here.pass_time(days=1)
    here.call(here.stan, animals["R-43"], "female", visit=here.visit(here.stan, animals["R-43"]))
    assert here.label(animals["R-43"]) == "contested"
    here.name(animals["R-41"], MALE)
    here.now_is_now()
    greta.open(f"/visits/{here.visit(here.greta, here.animal('R-45'))}/sheet")  # cautions are read
    sent = []
    for code, animal in animals.items():
        visit = here.visit(here.greta, animal)
        paths = [
            f"/visits/{visit}/sheet",
            f"/animals/{animal.pk}",
            f"/animals/{animal.pk}/calls/new",
            f"/animals/{animal.pk}/calls/new/probing",
            f"/animals/{animal.pk}/husbandry/weight",
        ]
        sent.append([anonymous(greta.open(path), code) for path in paths])
    assert all(len(html) > 1000 for html in sent[0])
    assert sent[0] == sent[1] == sent[2] == sent[3]


@pytest.mark.one_in(1)
def test_what_comes_next_hangs_on_codes_and_own_calls_alone(here: Here, greta: Browser) -> None:
    """Whatever was found before: those still to be checked by code, then from the top again."""
    animals = {
        "R-53": here.verified("R-53", "male"),
        "R-51": here.animal("R-51"),
        "R-54": here.verified("R-54", "female"),
        "R-52": here.animal("R-52"),
    }
    here.call(here.odile, animals["R-52"], "male")
    here.now_is_now()
    visit = here.visit(here.greta, *animals.values())
    codes = r"<strong>(R-5\d)</strong>"
    for done, code, then in (
        (1, "R-52", ["R-53", "R-54", "R-51"]),
        (2, "R-54", ["R-51", "R-53"]),
        (3, "R-51", ["R-53"]),
        (4, "R-53", []),
    ):
        stored = greta.open(log_a_probing(greta, animals[code], code=code).goes_to)
        assert re.findall(r"Next: (R-5\d)", stored.text) == then[:1]
        sheet = greta.open(f"/visits/{visit}/sheet")
        assert f"{done} of 4 checked" in stored.text
        assert f"{done} of 4 checked" in sheet.text
        waiting, checked = (sheet.html + "Checked by you").split("Checked by you")[:2]
        assert re.findall(codes, waiting) == sorted(then)
        assert re.findall(codes, checked) == sorted(set(animals) - set(then))
        assert SEX.search(sheet.text.replace(" ".join(BEFORE_A_CHECK), "")) is None


def test_what_opens_later_is_not_there_for_a_blind_guest(
    here: Here, greta: Browser, barnaby: Animal
) -> None:
    here.visit(here.greta, barnaby)
    call = Call.objects.filter(animal=barnaby)[0]
    for path in (
        f"/animals/{barnaby.pk}/history",
        f"/animals/{barnaby.pk}/record",
        f"/animals/{barnaby.pk}/particulars",
        f"/animals/{barnaby.pk}/husbandry/health",
        f"/calls/{call.pk}",
        f"/calls/{call.pk}/objection",
        f"/collections/{here.collection.pk}",
    ):
        assert greta.open(path).status == 404, path


def test_a_refused_call_form_stays_blind(here: Here, greta: Browser, barnaby: Animal) -> None:
    here.visit(here.greta, barnaby)
    refused = log_a_probing(greta, barnaby, left_stopped="", code="")
    assert refused.status == 422
    assert MALE not in refused.html
    assert "verified" not in refused.text
    assert "Guest R-17" not in refused.text


def test_cautions_and_warnings_come_before_the_form(
    here: Here, greta: Browser, odile: Browser, barnaby: Animal
) -> None:
    fed = {"noted": {"type": "meal", "taken": True}}
    here.say(here.odile, "husbandry_noted", barnaby.pk, fed)
    shed = {"noted": {"type": "shed", "stage": "opaque"}}
    here.say(here.odile, "husbandry_noted", barnaby.pk, shed)
    gravid = {"noted": {"type": "health", "sign": "gravid"}}
    here.say(here.odile, "husbandry_noted", barnaby.pk, gravid)
    here.visit(here.greta, barnaby)
    page = greta.open(f"/animals/{barnaby.pk}/calls/new/probing")
    form_starts = page.html.index('<form method="post"')
    for said in (BEFORE_A_CHECK[0], "fed less than 72 hours ago", "in shed", "No weight is noted"):
        assert page.html.index(said) < form_starts
    assert "It was last noted as gravid" not in page.text, "health would tell a guest the sex"
    keepers = odile.open(f"/animals/{barnaby.pk}/calls/new/probing").text
    assert "It was last noted as gravid" in keepers


def test_a_probing_is_logged_and_only_then_the_rest_is_shown(
    here: Here, greta: Browser, barnaby: Animal
) -> None:
    visit = here.visit(here.greta, barnaby)
    logged = log_a_probing(greta, barnaby)
    call = Call.objects.get(by=here.greta.pk)
    assert logged.goes_to == f"/calls/{call.pk}"
    assert call.blind
    assert str(call.visit) == str(visit)
    assert call.body["observed"] == {
        "method": "probing",
        "passes": [
            {"side": "left", "depth": "9", "stopped": "resistance"},
            {"side": "right", "depth": "8.5", "stopped": "resistance"},
        ],
        "probe_mm": "1.5",
    }
    assert call.identity == "tub_tag"

    accepted = greta.open(logged.goes_to)
    assert f"Accepted at position {call.position}" in accepted.text
    assert "Guest R-17" in accepted.text
    assert "verified male" in accepted.text.lower()
    assert MALE in accepted.text
    assert "Tensed at first." in accepted.text
    examiners = {link for link in accepted.links if "/examiners/" in link}
    assert len(examiners) == 4, "hers and three others'"
    assert {greta.open(link).status for link in examiners} == {200}
    assert MALE in greta.open(f"/animals/{barnaby.pk}").text


@pytest.mark.one_in(1)
def test_sending_the_form_twice_is_one_call(here: Here, greta: Browser, barnaby: Animal) -> None:
    here.visit(here.greta, barnaby)
    form = greta.open(f"/animals/{barnaby.pk}/calls/new/probing").form()
    first, second = greta.send(form, **PROBED), greta.send(form, **PROBED)
    assert first.goes_to == second.goes_to
    assert Call.objects.filter(by=here.greta.pk).count() == 1


def test_the_same_form_with_other_content_is_refused(
    here: Here, greta: Browser, barnaby: Animal
) -> None:
    here.visit(here.greta, barnaby)
    form = greta.open(f"/animals/{barnaby.pk}/calls/new/probing").form()
    greta.send(form, **PROBED)
    other = greta.send(form, **(PROBED | {"conclusion": "female"}))
    assert other.status == 422
    assert "already stands for something else" in other.text
    assert Call.objects.get(by=here.greta.pk).conclusion == "male"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"left": "8.3"}, "whole or half scales"),
        ({"left": "31"}, "30"),
        ({"left_stopped": ""}, "Say how this pass stopped"),
        ({"left": "", "left_stopped": "resistance"}, "Say how deep it went"),
        ({"code": ""}, "Give the code that was read"),
        ({"conclusion": "undetermined", "sureness": "certain"}, "not certain of an undetermined"),
        ({"probe_mm": "40"}, "8"),
    ],
)
def test_refusals_say_why_and_keep_what_was_typed(
    here: Here, greta: Browser, barnaby: Animal, typed: dict[str, str], said: str
) -> None:
    here.visit(here.greta, barnaby)
    before = Call.objects.count()
    refused = log_a_probing(greta, barnaby, **typed)
    assert refused.status == 422
    assert "Nothing was recorded." in refused.text
    assert said in refused.text
    kept = refused.form("/calls/new/probing").values
    for name, value in (PROBED | typed).items():
        if value:
            assert kept[name] == [value], name
    assert Call.objects.count() == before


def test_a_wrong_code_is_recorded_and_said_so(here: Here, greta: Browser, barnaby: Animal) -> None:
    here.visit(here.greta, barnaby)
    logged = log_a_probing(greta, barnaby, code="R-99")
    assert "The code you read is not this animal’s" in greta.open(logged.goes_to).text


def test_a_call_sent_after_the_visit_ended_is_taken_and_shows_nothing_more(
    here: Here, greta: Browser, barnaby: Animal
) -> None:
    visit = here.visit(here.greta, barnaby)
    form = greta.open(f"/animals/{barnaby.pk}/calls/new/probing").form()
    here.now = timezone.now()
    here.say(here.odile, "visit_cancelled", visit)
    logged = greta.send(form, **PROBED)
    page = greta.open(logged.goes_to)
    assert "Accepted at position" in page.text
    assert "no longer have access" in page.text
    assert MALE not in page.html
    assert "Guest R-17" not in page.html
    assert "/examiners/" not in page.html


def test_a_very_late_call_waits_for_the_host_who_admits_it(
    here: Here, odile: Browser, greta: Browser
) -> None:
    animal = here.animal("R-30")
    visit = here.visit(here.greta, animal)
    body = {**probing_body(), "visit": str(visit)}
    sent = here.item("call_made", animal.pk, body, at=here.now + timedelta(hours=1))
    here.now_is_now()
    held = here.push(here.greta, sent)[0]
    assert held.status == "held"
    assert "waits for the keeper" in greta.open(f"/calls/{held.id}").text
    assert "A late call waits for your decision" in odile.open("/").text
    waiting = odile.open("/held-calls")
    assert "Greta Lund" in waiting.text
    form = waiting.form(f"/held-calls/{held.id}/decision")
    form.names["admitted"] = "button"
    assert odile.send(form, admitted="yes").goes_to == "/held-calls"
    assert Call.objects.get(pk=held.id).flags == ["late"]
    after = odile.open("/held-calls").text
    assert "None is waiting" in after
    assert "Unsexed, then probable female" in after
    assert "Admitted" in after


def held_call(here: Here, tag: str) -> tuple[str, Animal]:
    """Of Greta, on a visit that ended 27 days ago; with a weight."""
    animal = here.verified(tag)
    sale = here.draft(animal)
    here.offer(sale, expires=rfc3339(timezone.now() + timedelta(days=7)))
    visit = here.visit(here.greta, animal, days=1)
    at = here.now + timedelta(hours=1)
    here.now_is_now()
    body = {**probing_body(), "visit": str(visit)}
    weight = {"noted": {"type": "weight", "grams": "412"}}
    items = [
        here.item("husbandry_noted", animal.pk, weight, at=at),
        here.item("call_made", animal.pk, body, at=at, texts={"note": "Quite calm."}),
    ]
    outcomes = here.push(here.greta, *items)
    assert [one.status for one in outcomes] == ["held", "held"]
    return str(outcomes[1].id), animal


def test_a_host_decides_on_a_late_check_unseen_and_everyone_hears(
    here: Here, odile: Browser, greta: Browser, anyone: Browser
) -> None:
    held, animal = held_call(here, "R-34")
    sale = Sale.objects.get()
    here.view(here.pim, animal)
    everybody = (
        (odile, f"/animals/{animal.pk}"),
        (Browser(here.pim), f"/animals/{animal.pk}"),
        (anyone, f"/offers/{here.token(sale)}"),
    )
    for who, path in everybody:
        assert "A late check waits for the animal’s keeper to admit" in who.open(path).text, path
    page = odile.open("/held-calls")
    assert "A check by Greta Lund" in page.text
    for told in ("female", "Probing", "Quite calm", "412"):
        assert told not in page.text.split("Taken late")[0], told
    mine = greta.open(f"/calls/{held}").text
    for told in ("waits for the keeper", "Probing, female", "Quite calm", "412 g, waits"):
        assert told in mine, told
    form = page.form(f"/held-calls/{held}/decision")
    form.names["admitted"] = "button"
    odile.send(form, admitted="no")
    for who, path in everybody:
        text = who.open(path).text
        assert "A late check was not admitted by the animal’s keeper, on" in text, path
        assert "A late check waits" not in text
    decided = odile.open("/held-calls").text.split("Decided")[1]
    assert "female" not in decided
    mine = greta.open(f"/calls/{held}").text
    for told in ("was not admitted", "Probing, female", "412 g, not admitted with it"):
        assert told in mine, told
    assert "Not admitted" in greta.open("/held-calls").text.split("Your own late checks")[1]
    assert greta.open(f"/receipts/{held}").status == 200


def test_what_was_taken_late_is_told_with_what_it_changed(
    here: Here, odile: Browser, greta: Browser
) -> None:
    animal, other = here.animal("R-31"), here.animal("R-32")
    here.sold(here.verified("R-33"))
    visit = here.visit(here.greta, animal, other, days=60)
    for one in (animal, other):
        body = {**probing_body(), "visit": str(visit)}
        here.push(here.greta, here.item("call_made", one.pk, body))
    here.now_is_now()
    body = {**probing_body(), "visit": str(visit)}
    here.push(here.greta, here.item("call_made", other.pk, body, at=here.now - timedelta(days=3)))
    page = odile.open("/held-calls").text
    assert "3 days later" in page
    assert "R-32" in page
    assert "R-31" not in page
    assert "None is waiting" in page
    assert "R-32" not in greta.open("/held-calls").text


def probing_body() -> dict[str, object]:
    return {
        "conclusion": "female",
        "sureness": "certain",
        "observed": {
            "method": "probing",
            "passes": [{"side": "left", "depth": "3", "stopped": "resistance"}],
        },
        "identified": {"by": "tag", "code": "R-30"},
        "held_by": "keeper",
    }


def test_a_guest_may_leave_a_weight_and_nothing_else(
    here: Here, greta: Browser, barnaby: Animal
) -> None:
    here.visit(here.greta, barnaby)
    noted = greta.fill(f"/animals/{barnaby.pk}/husbandry/weight", grams="1450.5")
    assert noted.goes_to == f"/animals/{barnaby.pk}"
    page = greta.open(noted.goes_to)
    assert "1450.5 g" in page.text
    assert greta.open(f"/animals/{barnaby.pk}/husbandry/meal").status == 404


def test_ones_own_call_can_be_taken_back_and_stays_to_be_seen(
    here: Here, greta: Browser, odile: Browser, barnaby: Animal
) -> None:
    here.visit(here.greta, barnaby)
    call = log_a_probing(greta, barnaby).goes_to.rpartition("/")[2]
    taken = greta.fill(f"/calls/{call}/withdrawal", note="I read the other snake.")
    assert taken.goes_to == f"/calls/{call}"
    assert "withdrawn" in odile.open(f"/animals/{barnaby.pk}").text
    assert odile.open(f"/calls/{call}/withdrawal").status == 404, "only whoever sent it"


def test_a_late_weight_without_its_check_is_decided_on_the_same_page(
    here: Here, odile: Browser, greta: Browser
) -> None:
    animal, now = here.animal("W-1"), timezone.now()
    here.now = now - timedelta(days=60)
    here.visit(here.greta, animal, days=1)
    weighed, here.now = here.now + timedelta(hours=2), now - timedelta(days=20)
    weight = {"noted": {"type": "weight", "grams": "431"}}
    held = here.say(here.greta, "husbandry_noted", animal.pk, weight, at=weighed)
    here.now = now
    assert "A late weight waits for your decision" in odile.open("/").text
    page = odile.open("/held-calls")
    assert "A weight by Greta Lund" in page.text
    assert "431" not in page.text
    form = page.form(f"/held-calls/{held.id}/decision")
    form.names["admitted"] = "button"
    assert odile.send(form, admitted="no").goes_to == "/held-calls"
    assert "Not admitted" in odile.open("/held-calls").text
    theirs = greta.open("/held-calls")
    assert "A weight of a ball python" in theirs.text
    assert "Not admitted" in theirs.text
    assert greta.open(f"/receipts/{held.id}").status == 200
