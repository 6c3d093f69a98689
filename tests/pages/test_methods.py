"""Every method has a form, and what the form sends is what the schema asks for."""

from typing import get_args

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.calls.models import Call
from scalewitness.domain.observations import Method
from scalewitness.pages.calls.methods import FORMS

pytestmark = pytest.mark.one_in(6)

COMMON = {
    "conclusion": "female",
    "sureness": "certain",
    "identified_by": "tag",
    "code": "R-01",
    "told": "no",
}
OF_PARENTS = {name: COMMON[name] for name in ("identified_by", "code", "told")}
HELD = {"held_by": "keeper"}
TYPED: dict[str, tuple[dict[str, str], dict[str, object]]] = {
    "probing": (
        HELD
        | {
            "left": "3.0",
            "left_stopped": "choice",
            "right_stopped": "aborted",
            "right_again": "2.5",
            "right_again_stopped": "resistance",
        },
        {
            "passes": [
                {"side": "left", "depth": "3", "stopped": "choice"},
                {"side": "right", "depth": "0", "stopped": "aborted"},
                {"side": "right", "depth": "2.5", "stopped": "resistance"},
            ]
        },
    ),
    "eversion": (HELD | {"manner": "manual", "seen": "nothing"}, {}),
    "ultrasound": (HELD | {"seen": "follicles"}, {}),
    "radiography": (HELD | {"contrast": "yes", "seen": "none"}, {"contrast": True}),
    "endoscopy": (HELD | {"seen": "ovaries", "post_mortem": "no"}, {"post_mortem": None}),
    "dna": (
        {
            "system": "ZW",
            "sample": "shed",
            "found": "heterogametic",
            "marker": "CTNNB1 2",
            "replicates": "3",
            "failed_controls": "0",
        },
        {"replicates": 3, "failed_controls": 0},
    ),
    "reproduction": (
        {"event": "laid_eggs", "witnessed": "no", "count": "7"},
        {"witnessed": False, "count": 7},
    ),
    "parentage": (
        {
            "found": "dam_alone",
            "young": "6",
            "other_males_excluded": "yes",
            "stored_sperm_excluded": "no",
            "parthenogenesis_excluded": "no",
            "reported_name": "Loci & Sons",
        },
        {
            "young": 6,
            "other_males_excluded": True,
            "stored_sperm_excluded": False,
            "parthenogenesis_excluded": False,
        },
    ),
    "scale_count": (
        HELD | {"subcaudals": "30", "ventrals": "205"},
        {"subcaudals": 30, "ventrals": 205},
    ),
    "tail_length": (
        HELD | {"tail_mm": "120", "total_mm": "980"},
        {"tail_mm": 120, "total_mm": 980},
    ),
    "visual": ({"feature": "spurs"}, {}),
    "statement": ({"source": "papers"}, {}),
}


def test_no_method_is_without_a_form() -> None:
    assert set(FORMS) == set(get_args(Method)) == set(TYPED)


@pytest.mark.parametrize("method", sorted(TYPED))
def test_what_is_typed_is_what_is_logged(here: Here, odile: Browser, method: str) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    typed, expected = TYPED[method]
    common = COMMON if method != "parentage" else OF_PARENTS
    logged = odile.fill(f"/animals/{animal.pk}/calls/new/{method}", **(common | typed))
    assert f"/calls/{Call.objects.get().pk}" == logged.goes_to
    observed = Call.objects.get().body["observed"]
    assert observed.pop("method") == method
    own = {name: value for name, value in typed.items() if name in FORMS[method].observed_fields}
    assert observed == {name: one for name, one in (own | expected).items() if one is not None}
    assert odile.open(logged.goes_to).status == 200


def test_eggs_are_always_a_female(here: Here, odile: Browser) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    page = odile.open(f"/animals/{animal.pk}/calls/new/reproduction")
    typed = COMMON | TYPED["reproduction"][0] | {"conclusion": "male"}
    refused = odile.send(page.form(), **typed)
    assert refused.status == 422
    assert "the conclusion is female" in refused.text
    assert not Call.objects.exists()


@pytest.mark.parametrize(
    ("found", "conclusion"),
    [("sire", "male"), ("not_sire", "undetermined"), ("failed", "undetermined")],
)
def test_a_test_of_parents_concludes_what_it_found_and_is_the_laboratorys(
    here: Here, odile: Browser, found: str, conclusion: str
) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    path = f"/animals/{animal.pk}/calls/new/parentage"
    typed = OF_PARENTS | TYPED["parentage"][0] | {"found": found}
    odile.fill(path, **typed)
    call = Call.objects.get()
    assert (call.conclusion, call.role) == (conclusion, "laboratory")


def test_a_test_of_parents_needs_a_laboratory_and_young(here: Here, odile: Browser) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    path = f"/animals/{animal.pk}/calls/new/parentage"
    typed = OF_PARENTS | TYPED["parentage"][0] | {"reported_name": "", "young": "0"}
    refused = odile.fill(path, **typed)
    assert refused.status == 422
    assert "greater than or equal to 1" in refused.text
    assert "The laboratory" in refused.text
    assert not Call.objects.exists()


def test_a_marker_is_no_sentence(here: Here, odile: Browser) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    typed = COMMON | TYPED["dna"][0] | {"marker": "found by Ines, ines@example.org"}
    refused = odile.fill(f"/animals/{animal.pk}/calls/new/dna", **typed)
    assert refused.status == 422
    assert "At most 40 letters" in refused.text


def test_a_veterinarians_check_is_reported_under_a_name_given_once(
    here: Here, odile: Browser
) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    path = f"/animals/{animal.pk}/calls/new/endoscopy"
    typed = COMMON | TYPED["endoscopy"][0]
    typed |= {"reported_role": "veterinarian", "reported_name": "Dr Ines Falk"}
    first, second = odile.fill(path, **typed), odile.fill(path, **typed)
    calls = list(Call.objects.all())
    assert len(calls) == 2
    assert len({call.examiner for call in calls}) == 1, "the same person both times"
    assert {call.role for call in calls} == {"veterinarian"}
    assert first.goes_to != second.goes_to
    accepted = odile.open(second.goes_to).text
    assert "The call you reported" in accepted
    assert "Your call" not in accepted
    page = odile.open(f"/animals/{animal.pk}")
    assert "Dr Ines Falk, veterinarian" in page.text
    assert "reported at second hand, by someone with a share in the animal" in page.text
    assert "The examiner had a share" not in page.text


def test_a_reported_check_needs_a_name(here: Here, odile: Browser) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    typed = COMMON | TYPED["endoscopy"][0] | {"reported_role": "veterinarian"}
    refused = odile.fill(f"/animals/{animal.pk}/calls/new/endoscopy", **typed)
    assert refused.status == 422
    assert "Say whose check it was" in refused.text


def test_an_earlier_moment_is_the_claimed_time(here: Here, odile: Browser) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    typed = COMMON | TYPED["visual"][0] | {"examined": "2024-05-03T14:30"}
    odile.fill(f"/animals/{animal.pk}/calls/new/visual", **typed)
    assert Call.objects.get().examined_at.isoformat() == "2024-05-03T14:30:00+00:00"


def test_there_is_no_form_for_an_unknown_method(here: Here, odile: Browser) -> None:
    animal = here.animal("R-01")
    assert odile.open(f"/animals/{animal.pk}/calls/new/guessing").status == 404


def test_an_unusual_depth_is_asked_for_again(here: Here, odile: Browser) -> None:
    animal = here.animal("R-01")
    here.now_is_now()
    path = f"/animals/{animal.pk}/calls/new/probing"
    assert "unusual" not in odile.open(path).form().names
    page = odile.fill(path, **(COMMON | HELD | {"left": "12", "left_stopped": "resistance"}))
    assert page.status == 422
    assert "deeper than 10 scales. Count again from the vent" in page.text
    logged = odile.send(page.form(), unusual="on")
    assert logged.status == 302
    assert "counted again as it is unusual" in odile.open(logged.goes_to).text
