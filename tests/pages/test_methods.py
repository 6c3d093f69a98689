"""Every method has a form, and what the form sends is what the schema asks for."""

from typing import get_args

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.calls.models import Call
from scalewitness.domain.observations import Method
from scalewitness.pages.calls.methods import FORMS

COMMON = {
    "conclusion": "female",
    "sureness": "certain",
    "identified_by": "tag",
    "code": "R-01",
    "told": "no",
}
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
    "dna": ({"system": "ZW", "sample": "shed", "found": "heterogametic"}, {}),
    "reproduction": (
        {"event": "laid_eggs", "witnessed": "no", "count": "7"},
        {"witnessed": False, "count": 7},
    ),
    "scale_count": (
        HELD | {"subcaudals": "30", "ventrals": "205"},
        {"subcaudals": 30, "ventrals": 205},
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
    logged = odile.fill(f"/animals/{animal.pk}/calls/new/{method}", **(COMMON | typed))
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
