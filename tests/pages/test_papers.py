"""What is printed: the same as on the page, blanks stated, nothing typed read as markup. The
papers are read back by another library (pypdf) than the one that sets them."""

from io import BytesIO
from zipfile import ZipFile

import pytest
from pypdf import PdfReader
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.pages.test_disclosures_and_disputes import fallen as fallen
from tests.pages.test_visiting_keeper import held_call
from tests.world import new_id

from scalewitness.calls.models import Call
from scalewitness.disputes.models import Dispute
from scalewitness.domain.translog.keys import read_verifier
from scalewitness.domain.translog.receipts import prove, read_receipt
from scalewitness.intake import heavy_work
from scalewitness.pages.papers.typesetting import PRESS
from scalewitness.pages.receipts.log import log_keys
from scalewitness.sales.models import Sale

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]

EVIL = '#panic() #eval("1") [*x*] $x$ <b>b</b> @ref \\ #image("/etc/passwd") "quoted"'


def text_of(data: bytes) -> str:
    pages = [page.extract_text() for page in PdfReader(BytesIO(data)).pages]
    return " ".join(" ".join(pages).split())


def fetched(browser: Browser, path: str, kind: str = "application/pdf") -> bytes:
    response = browser.client.get(path)
    assert response.status_code == 200, path
    assert response["Content-Type"] == kind
    assert "no-store" in response["Cache-Control"]
    return bytes(response.content)


def test_the_keepers_record_says_what_the_page_says_and_names_its_blanks(
    here: Here, odile: Browser
) -> None:
    animal = here.verified("R-17")
    here.name(animal, "Vesper")
    here.now_is_now()
    data = fetched(odile, f"/animals/{animal.pk}/record.pdf")
    text = text_of(data)
    standing = animal.standings.order_by("-position")[0]
    for said in (
        "Record of a determination of sex",
        "Name Vesper",
        "Tag R-17",
        "Transponder not recorded",
        "Hatched not recorded",
        "Verified male",
        f"at position {standing.position}",
        f"parameters {standing.parameters}",
        "Who checked, and what they saw",
        "depth in scales under the tail",
        "What the record said",
        "Knew no earlier answer",
        f"/receipts/{standing.pk}",
        "A sex on record is a probability with reasons, never a certainty",
        "log testserver/log",
    ):
        assert said in text, said
    reader = PdfReader(BytesIO(data))
    assert reader.metadata is not None
    assert reader.metadata.title == "Record of a determination of sex"
    assert "/StructTreeRoot" in reader.trailer["/Root"], "tagged for screen readers"


def test_an_animal_nobody_checked(here: Here, odile: Browser) -> None:
    animal = here.animal("N-1")
    here.now_is_now()
    text = text_of(fetched(odile, f"/animals/{animal.pk}/record.pdf"))
    for said in ("Name not recorded", "Unsexed", "Nobody has checked this animal", "No standing"):
        assert said in text, said


def test_nothing_typed_is_read_as_markup(here: Here, odile: Browser) -> None:
    animal = here.verified("R-18")
    here.name(animal, EVIL)
    here.now_is_now()
    text = text_of(fetched(odile, f"/animals/{animal.pk}/record.pdf"))
    assert '#panic() #eval("1") [*x*] $x$ <b>b</b> @ref \\ #image("/etc/passwd")' in text
    assert "root:" not in text


@pytest.mark.parametrize("name", ["Жук Ελλ", "漢字", "🐍", "กา", "שלום", "a\u200bb", "\u202egnp"])
@pytest.mark.some(2)
def test_a_name_in_any_script_is_printed(here: Here, odile: Browser, name: str) -> None:
    """What the fonts do not have is a box on the paper, never a page that fails."""
    animal = here.verified("R-19")
    here.name(animal, name)
    here.now_is_now()
    text = text_of(fetched(odile, f"/animals/{animal.pk}/record.pdf"))
    assert "Verified male" in text
    assert "\u202e" not in text


def test_a_long_word_stays_on_the_paper_and_a_fingerprint_whole(here: Here, odile: Browser) -> None:
    """A pasted address, say: 80 of these letters are 29 cm long."""
    animal = here.animal("G1")
    here.name(animal, "W" * 80)
    data = fetched(odile, f"/animals/{animal.pk}/record.pdf")
    lines = "\n".join(page.extract_text() for page in PdfReader(BytesIO(data)).pages).splitlines()
    parts = [one.count("W") for one in lines if "WW" in one]
    assert sum(parts) == 80
    assert max(parts) < 50
    assert str(animal.pk) in text_of(data)


def test_the_buyers_record_names_nobody_and_needs_their_link(
    here: Here, anyone: Browser, fallen: Sale
) -> None:
    token, animal = here.token(fallen, "disclosure"), fallen.animals.get()
    text = text_of(fetched(anyone, f"/offers/{token}/animals/{animal.pk}/record.pdf"))
    for said in ("Contested", "Independent keeper A", "give a copy of this paper only", "Vesper"):
        assert said in text, said
    for who in (here.greta, here.stan, here.odile):
        assert who.name not in text
    assert "Checks" in text, "their strip"
    assert "What the record said" not in text, "before they were told of it"
    other = here.animal("N-2")
    for path in (
        f"/offers/{token}/animals/{other.pk}/record.pdf",
        f"/offers/{token}x/animals/{animal.pk}/record.pdf",
    ):
        assert anyone.client.get(path).status_code == 404, path


def test_the_disputes_folder_holds_receipts_that_prove_themselves(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    dispute, animal = Dispute.objects.get(), fallen.animals.get()
    text = text_of(fetched(odile, f"/disputes/{dispute.pk}/dossier.pdf"))
    for said in ("Dispute about Vesper", "The call most likely wrong", "Who knew what when",
                 "Stan Okoro, call d: Probing, female. Knew no earlier answer.",
                 "Disclosure to a buyer waiting to be sent", "Contested"):  # fmt: skip
        assert said in text, said
    data = fetched(odile, f"/disputes/{dispute.pk}/dossier.zip", "application/zip")
    folder = ZipFile(BytesIO(data))
    names = folder.namelist()
    assert names[0] == "dossier.pdf"
    key = read_verifier(log_keys()[0])
    proved = {
        prove(read_receipt(folder.read(name)), key).entry.id
        for name in names
        if name.startswith("receipts/")
    }
    calls = set(map(str, Call.objects.filter(animal=animal).values_list("pk", flat=True)))
    assert calls < proved
    steps = set(map(str, fallen.steps.values_list("pk", flat=True)))
    assert steps < proved
    read_me = folder.read("READ ME.txt").decode()
    assert log_keys()[0] in read_me
    assert all(name in read_me for name in names if name.startswith("receipts/"))


def test_while_too_many_papers_are_set_the_next_is_told_to_come_again(
    here: Here, odile: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal = here.verified("R-17")
    monkeypatch.setattr(heavy_work, "MOST_WAITING", 0)
    response = odile.client.get(f"/animals/{animal.pk}/record.pdf")
    assert (response.status_code, response.headers["Retry-After"]) == (503, "2")
    assert "R-17" not in response.content.decode()
    monkeypatch.undo()
    assert odile.client.get(f"/animals/{animal.pk}/record.pdf").status_code == 200
    assert not PRESS.inside


def test_late_checks_are_on_every_paper_and_on_the_pages_about_a_dispute(
    here: Here, odile: Browser, anyone: Browser
) -> None:
    held, animal = held_call(here, "R-34")
    sale, dispute = Sale.objects.get(), new_id(here.now)
    objects = {"animal": str(animal.pk), "ground": "party_objects"}
    here.say(here.odile, "dispute_opened", dispute, objects)
    papers = (
        (odile, f"/animals/{animal.pk}/record.pdf"),
        (odile, f"/disputes/{dispute}/dossier.pdf"),
        (anyone, f"/offers/{here.token(sale)}/animals/{animal.pk}/record.pdf"),
    )
    said = {None: "A late check waits", False: "A late check was not admitted"}
    for admitted, words in said.items():
        if admitted is not None:
            body = {"held": held, "admitted": admitted}
            here.say(here.odile, "late_call_decided", animal.pk, body)
        for who, path in papers:
            assert words in text_of(fetched(who, path)), path
        assert words in odile.open(f"/disputes/{dispute}").text
