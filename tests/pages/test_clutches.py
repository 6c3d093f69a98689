"""A clutch checked in one form: every row on its own, nothing twice, nothing lost."""

import pytest
from tests.pages.browser import Browser, Form
from tests.pages.conftest import Here

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call

pytestmark = pytest.mark.one_in(6)


def clutch(here: Here, count: int = 3) -> list[Animal]:
    dam = here.animal("D-1")
    found = [here.animal(f"H-{n}", hatched="2026-08-01", dam=str(dam.pk)) for n in range(count)]
    here.now_is_now()
    return found


def path(here: Here, animal: Animal, method: str) -> str:
    return f"/collections/{here.collection.pk}/clutches/{animal.pk}/{method}"


def typed(animal: Animal, **fields: str) -> dict[str, str | list[str]]:
    if "conclusion" in fields:
        fields = {"sureness": "fairly_sure", **fields}
    return {f"h{animal.pk}-{name}": value for name, value in fields.items()}


MET = {"left_stopped": "resistance", "right_stopped": "resistance"}
TOGETHER: dict[str, str | list[str]] = {"held_by": "examiner", "told": "no"}


def served(odile: Browser, here: Here, animal: Animal, method: str) -> Form:
    page = odile.open(path(here, animal, method))
    assert page.status == 200
    return page.form()


def test_from_the_collection_a_whole_clutch_is_probed_once(here: Here, odile: Browser) -> None:
    one, two, left_out = clutch(here)
    assert "/clutches" in " ".join(odile.open(f"/collections/{here.collection.pk}").links)
    form = served(odile, here, one, "probing")
    data = {
        **TOGETHER,
        **typed(one, **MET, left="9", right="8.5", conclusion="male", code="H-0"),
        **typed(two, **MET, left="3", right="2.5", conclusion="female", code="H-1"),
    }
    assert [odile.send(form, **data).status for _ in range(2)] == [302, 302]
    calls = {call.animal_id: call for call in Call.objects.all()}
    assert calls.keys() == {one.pk, two.pk}
    assert calls[one.pk].identity == "tub_tag"
    assert calls[one.pk].body["observed"]["passes"] == [
        {"side": "left", "depth": "9", "stopped": "resistance"},
        {"side": "right", "depth": "8.5", "stopped": "resistance"},
    ]
    page = odile.open(f"/collections/{here.collection.pk}/clutches")
    assert "1.1.1" in page.text
    assert "Fewer than six were checked" in page.text
    assert here.label(left_out) == "unsexed"


def test_an_even_clutch_everted_is_shown_as_nothing_unusual(here: Here, odile: Browser) -> None:
    hatchlings = clutch(here, 8)
    form = served(odile, here, hatchlings[0], "eversion")
    said: dict[str, str | list[str]] = {}
    for n, animal in enumerate(hatchlings):
        seen, sex = ("hemipenes", "male") if n % 2 else ("nothing", "female")
        said |= typed(animal, seen=seen, conclusion=sex)
    assert odile.send(form, **TOGETHER, **said).status == 302
    page = odile.open(f"/collections/{here.collection.pk}/clutches")
    assert "4 males among 8 young checked is nothing unusual" in page.text
    assert "Nothing everted in 4 of them, which also happens in males." in page.text
    assert "Small clutches say little" in page.text


def test_each_pass_says_how_it_stopped(here: Here, odile: Browser) -> None:
    """As on the form for one animal: by choice is a lower bound, broken off says nothing."""
    one, two, three = clutch(here)
    form = served(odile, here, one, "probing")
    data = {
        **TOGETHER,
        **typed(one, left="6", left_stopped="choice", right_stopped="aborted"),
        **typed(two, left="3", conclusion="female"),
        **typed(three, left="8.2", left_stopped="resistance", conclusion="male"),
    }
    refused = odile.send(form, **data)
    assert "Say what you conclude." in refused.text
    assert "Say how this pass stopped." in refused.text
    assert "Give whole or half scales" in refused.text
    assert Call.objects.count() == 0
    mended = {
        **typed(one, conclusion="undetermined"),
        **typed(two, left_stopped="resistance"),
        **typed(three, left="8.5"),
    }
    assert odile.send(refused.form(), **mended).status == 302
    passes = {one.animal_id: one.body["observed"]["passes"] for one in Call.objects.all()}
    assert passes == {
        one.pk: [
            {"side": "left", "depth": "6", "stopped": "choice"},
            {"side": "right", "depth": "0", "stopped": "aborted"},
        ],
        two.pk: [{"side": "left", "depth": "3", "stopped": "resistance"}],
        three.pk: [{"side": "left", "depth": "8.5", "stopped": "resistance"}],
    }


def test_an_unusual_depth_is_asked_for_again_beside_its_hatchling(
    here: Here, odile: Browser
) -> None:
    one, two, _ = clutch(here)
    form = served(odile, here, one, "probing")
    assert not [name for name in form.names if name.endswith("unusual")]
    data = {
        **TOGETHER,
        **typed(one, left="12", left_stopped="resistance", conclusion="male"),
        **typed(two, left="3", left_stopped="resistance", conclusion="female"),
    }
    refused = odile.send(form, **data)
    assert "1 recorded, the rest not." in refused.text
    assert "It did go that deep: I counted again" in refused.text
    assert odile.send(refused.form(), **typed(one, unusual="on")).status == 302
    assert Call.objects.get(animal=one).body["observed"]["unusual"] is True


def test_everting_says_how_it_came_about(here: Here, odile: Browser) -> None:
    one, two, _ = clutch(here)
    form = served(odile, here, one, "eversion")
    data = {
        **TOGETHER,
        **typed(one, seen="hemipenes", conclusion="male"),
        **typed(two, seen="hemipenes", manner="spontaneous", conclusion="male"),
    }
    assert odile.send(form, **data).status == 302
    manners = {one.animal_id: one.body["observed"]["manner"] for one in Call.objects.all()}
    assert manners == {one.pk: "manual", two.pk: "spontaneous"}


def test_one_refused_row_keeps_what_was_typed_and_sinks_no_other(
    here: Here, odile: Browser
) -> None:
    one, two, three = clutch(here)
    form = served(odile, here, one, "eversion")
    data = {
        **TOGETHER,
        **typed(one, seen="hemipenes", conclusion="male", code="H-0"),
        **typed(two, conclusion="female", code="H-1"),
        **typed(three, seen="unclear"),
    }
    page = odile.send(form, **data)
    assert page.status == 422
    assert "1 recorded, the rest not." in page.text
    assert "H-0: male, recorded at position" in page.text
    assert "Say what you saw." in page.text
    assert "Say what you conclude." in page.text
    again = page.form()
    assert f"h{one.pk}-id" not in again.names
    assert again.values[f"h{two.pk}-code"] == ["H-1"]
    assert again.values[f"h{three.pk}-seen"] == ["unclear"]
    mended = {
        **typed(two, seen="nothing"),
        **typed(three, conclusion="undetermined"),
    }
    assert odile.send(again, **mended).status == 302
    assert Call.objects.count() == 3


def test_a_row_the_record_refuses_is_told_beside_it(here: Here, odile: Browser) -> None:
    one, two, _ = clutch(here)
    form = served(odile, here, one, "eversion")
    said = {**TOGETHER, **typed(one, seen="hemipenes", conclusion="male")}
    assert odile.send(form, **said).status == 302
    changed = {
        **TOGETHER,
        **typed(one, seen="nothing", conclusion="female"),
        **typed(two, seen="nothing", conclusion="female"),
    }
    page = odile.send(form, **changed)
    assert page.status == 422
    assert "This id already stands for something else" in page.text
    assert {call.conclusion for call in Call.objects.filter(animal=one)} == {"male"}
    assert Call.objects.filter(animal=two).count() == 1


def test_nothing_is_answered_for_the_examiner(here: Here, odile: Browser) -> None:
    """Least of all whether they knew the sex before: the weight of the call rests on it."""
    one, *_ = clutch(here)
    form = served(odile, here, one, "eversion")
    assert not {"told", "held_by"} & form.values.keys()
    for name in ("conclusion", "sureness"):
        assert form.values[f"h{one.pk}-{name}"] == [""]
    said = typed(one, seen="hemipenes", conclusion="male", sureness="")
    refused = odile.send(form, **said)
    for asked in ("Who held the hatchlings?", "Had anyone told you their sex before you checked?"):
        assert f"{asked} : This field is required." in refused.text
    refused = odile.send(form, **said, **TOGETHER)
    assert "Say how sure you are." in refused.text
    assert Call.objects.count() == 0


def test_an_empty_sending_records_nothing(here: Here, odile: Browser) -> None:
    one, *_ = clutch(here)
    form = served(odile, here, one, "probing")
    assert "Every hatchling was left empty." in odile.send(form, **TOGETHER).text
    assert odile.send(form, **typed(one, conclusion="male")).status == 422  # held_by is missing
    assert Call.objects.count() == 0


def test_no_guest_no_stranger_no_other_method(
    here: Here, odile: Browser, greta: Browser, stan: Browser
) -> None:
    one, *_ = clutch(here)
    here.visit(here.greta, one)
    for who in (greta, stan):
        assert who.open(path(here, one, "probing")).status == 404
        assert who.open(f"/collections/{here.collection.pk}/clutches").status == 404
    assert odile.open(path(here, one, "dna")).status == 404
    stranger = here.animal("alone")
    assert odile.open(path(here, stranger, "probing")).status == 404
