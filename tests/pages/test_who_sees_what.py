"""Every address, opened by a stranger and by nobody: what one may not see is not there."""

import re
from uuid import UUID, uuid4

from tests.api.stage import brought, invited_by_letter
from tests.bundles import quote
from tests.pages.browser import Browser, is_own_module
from tests.pages.conftest import Here
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once
from tests.world import new_id

from scalewitness.calls.models import Call
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.pages import urls
from scalewitness.people.services import enrol_device

OPEN_TO_ALL = {"home", "about", "example", "kept", "log", "rackside", "sign_out"}
OWN = {
    "account",
    "animals",
    "learned",
    "visits",
    "sales",
    "disputes",
    "pairings",
    "calendar",
    "reports",
    "disclosures",
    "held_calls",
    "import_animals",
    "new_collection",
    "add_device",
    "lost_devices",
    "recovery_key",
    "this_browser",
    "vouching",
    "one_examiner",
    "own_data",
}
"""Pages that show a keeper nothing but their own, or what every keeper may know."""
FORMS_ONLY = {
    "answer_finding",
    "revoke_device",
    "end_grant",
    "decide_held",
    "answer_visit",
    "answer_by_letter",
    "sale_step",
    "acknowledge_disclosure",
    "record_finding",
    "make_statement",
    "drop_pairing",
    "withdraw_note",
    "agree_to_pairing",
    "withdraw_trait",
    "accept_change",
    "ask_best",
    "forget_list",
    "store_import",
}
"""Addresses that take a form; opening one leads to the page it belongs to."""
OWN_FORMS = {
    "calendar_link",
    "recover",
    "choose_digest",
    "choose_habits",
    "take_browsers_zone",
    "with_chosen",
}
"""Addresses that take a form about nobody but the keeper who sends it."""
KEPT = sorted(
    pattern.name
    for pattern in urls.urlpatterns
    if not {pattern.name} & (OPEN_TO_ALL | OWN | OWN_FORMS)
    and not str(pattern.pattern).startswith(("offers/", "reports/by-link/", "calendar/by-link/"))
    and pattern.name
)


def address(name: str, ids: dict[str, str]) -> str:
    """The address of a page with real ids of somebody else's things in it."""
    pattern = next(one for one in urls.urlpatterns if one.name == name)
    route = str(pattern.pattern)
    route = route.replace(r"(?P<type>weight|meal|shed|health|remark)", "weight").strip("^$")
    route = re.sub(r"\(\?P<animal_id>.*?\{12\}\)", ids["animal_id"], route)
    words = {"method": "probing", "what": "acceptance" if "visits" in route else "payment"}
    route = re.sub(r"<slug:(\w+)>", lambda found: words[found[1]], route)
    route = route.replace("<int:year>", "2027")
    return "/" + re.sub(r"<uuid:(\w+)>", lambda found: ids[found[1]], route)


@told_once
def ids(here: Here) -> dict[str, str]:
    """One of everything, none of it Greta's."""
    animal = here.verified("R-17")
    here.name(animal, "Vesper")
    sale = here.sold(animal)
    here.pass_time(days=1)
    visit = here.visit(here.stan, animal)
    here.call(here.stan, animal, "female", visit=visit)
    grant = here.make_partner(here.pim)
    pairing = new_id(here.now)
    pair = {"sire": str(animal.pk), "dam": str(here.animal("R-18").pk), "season": 2027}
    here.say(here.odile, "pairing_planned", pairing, pair)
    day = str(here.now.date())
    seen = {"what": "put_together", "on": day}
    season_note = here.say(here.odile, "season_noted", pairing, seen)
    photo = here.say(here.odile, "photo_attached", animal.pk, body_of(plain_file())).id
    take_photo_file(UUID(photo), plain_file(), Actor(keeper=here.odile.pk), here.now)
    seen = {"locus": "albino", "says": "does_not_show", "basis": "seen"}
    trait = here.say(here.odile, "trait_stated", animal.pk, seen).id
    quoted = quote(here, here.odile, animal)
    here.now_is_now()
    return {
        "statement_id": str(trait),
        "animal_id": str(animal.pk),
        "collection_id": str(here.collection.pk),
        "examiner_id": str(here.stan.pk),
        "call_id": str(Call.objects.filter(by=here.stan.pk)[0].pk),
        "visit_id": str(visit),
        "sale_id": str(sale.pk),
        "disclosure_id": str(Disclosure.objects.get().pk),
        "dispute_id": str(Dispute.objects.get().pk),
        "pairing_id": str(pairing),
        "note_id": season_note.id,
        "fact_id": str(sale.steps.get(kind="offer_made").pk),
        "grant_id": str(grant),
        "photo_id": str(photo),
        "quote_id": quoted,
        "upload_id": brought(here),
        "invitation_id": invited_by_letter(here, here.pim, animal),
        "device_id": str(enrol_device(here.odile, "phone", here.now)[0].pk),
        "held_id": str(uuid4()),
    }


def test_strangers_find_nothing_and_are_told_the_same_as_of_what_never_was(
    here: Here, greta: Browser, ids: dict[str, str]
) -> None:
    nowhere = {name: str(uuid4()) for name in ids}
    greta.again()  # else what is grave would ask first, of these and of what never was alike
    for name in KEPT:
        path = address(name, ids)
        if name in FORMS_ONLY:
            sent = greta.client.post(path, {"id": str(new_id()), "at": "2026-01-01T00:00:00.000Z"})
            assert sent.status_code == 404, path
            continue
        page, missing = greta.open(path), greta.open(address(name, nowhere))
        assert page.status == missing.status == 404, path
        assert page.html == missing.html, path


def test_somebody_not_signed_in_is_sent_to_the_door(anyone: Browser, ids: dict[str, str]) -> None:
    for name in [*KEPT, *OWN]:
        if name not in FORMS_ONLY:
            assert anyone.open(address(name, ids)).goes_to.startswith("/accounts/login/"), name


def test_the_owner_can_open_them_all(here: Here, odile: Browser, ids: dict[str, str]) -> None:
    """So that the two tests above are not passed by pages that never work."""
    # Stan's own call, which is no report (see test_reports); and this animal is of no known
    # clutch or parents (see test_clutches and test_linkage).
    others = {"accepted", "withdraw_call", "log_clutch", "linkage"}
    # Nor does whoever keeps it compare its photos or refile another's (see test_which_animal).
    others |= {"answer_report", "read_document", "state_witness", "compare_photos", "refile_call"}
    others |= {"withdraw_witness", "place", "clutch_labels", "arrival"}
    odile.again()
    for name in [*KEPT, *OWN]:
        if name not in FORMS_ONLY | others:
            assert odile.open(address(name, ids)).status == 200, name


def test_lists_of_a_stranger_are_empty(here: Here, greta: Browser, ids: dict[str, str]) -> None:
    greta.again()
    for name in OWN:
        page = greta.open(address(name, ids))
        assert page.status == 200
        assert "Vesper" not in page.html
        assert "Bela" not in page.html


def test_pages_for_keepers_are_not_kept_by_caches(here: Here, odile: Browser) -> None:
    response = odile.open(f"/collections/{here.collection.pk}").response
    assert "no-store" in response["Cache-Control"]
    assert "private" in response["Cache-Control"]


def test_the_content_policy_allows_nothing_inline(anyone: Browser) -> None:
    policy = anyone.open("/about").response["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "default-src 'self'" in policy


def test_names_are_escaped_wherever_they_are_shown(here: Here, odile: Browser) -> None:
    animal = here.animal("<b>1")
    here.name(animal, "<img src=x onerror=alert(1)>", rack="'\"><script>", description="<i>hi</i>")
    here.now_is_now()
    for path in (
        f"/animals/{animal.pk}",
        f"/animals/{animal.pk}/record",
        f"/animals/{animal.pk}/history",
        f"/animals/{animal.pk}/calls/new",
        f"/collections/{here.collection.pk}",
        f"/collections/{here.collection.pk}/visits/new",
    ):
        page = odile.open(path)
        assert page.status == 200
        foreign = [(tag, given) for tag, given in page.tags if tag in {"img", "script", "b"}]
        assert not [tag for tag, given in foreign if not is_own_module(given)], path
