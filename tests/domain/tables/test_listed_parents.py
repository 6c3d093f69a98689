"""Sires and dams as a list names them: found in it or on record, asked about, never guessed."""

import pytest
from tests.domain.tables.lists import laid_out
from tests.domain.tables.test_reading_lists import draft

from scalewitness.domain.tables.drafts import ListedParent
from scalewitness.domain.tables.lines import ByCode, KnownAnimal
from scalewitness.domain.tables.plan import ImportPlan

HEAD = "tag,name,chip,species,sex,hatched,sire,dam\n"
PAIR = "S1,Ash,900012000001234,bp,,2020-01-01,,\nD1,Moss,,bp,,2020-01-02,,\n"


def of(rows: str, known: ByCode | None = None, **replies: str) -> ImportPlan:
    return laid_out(HEAD + rows, known or {}, sex_from="own", **replies)


def on_record(id: str, *marks: tuple[str, str], species: str = "python_regius") -> KnownAnimal:
    codes = tuple(mark for mark in marks if mark[0] != "name")
    title = next((text for scheme, text in marks if scheme == "name"), "") or codes[0][1]
    return KnownAnimal(id, title, species, "2019-01-01", codes)


def by_code(**animals: tuple[tuple[str, str], ...]) -> ByCode:
    found: dict[tuple[str, str], list[KnownAnimal]] = {}
    for id, marks in animals.items():
        for scheme, text in marks:
            found.setdefault((scheme, text.casefold()), []).append(on_record(id, *marks))
    return found


@pytest.mark.parametrize("sire", ["S1", "ash", " ASH ", "900012000001234"])
def test_a_parent_goes_by_tag_name_or_transponder_in_the_same_list(sire: str) -> None:
    plan = of(f"Y1,,,bp,,2024-05-01,{sire},Moss\n{PAIR}")
    young = draft(plan.lines[1])
    assert (young.sire and young.sire.line, young.dam and young.dam.line) == (3, 4)
    generations = {line.number: line.generation for line in plan.of("new")}
    assert generations == {2: 1, 3: 0, 4: 0}, "parents are stored before their young"


@pytest.mark.parametrize("said", ["K7", "Fern", "900012000007777"])
def test_a_parent_may_be_on_record(said: str) -> None:
    known = by_code(
        a=(("tag", "K7"), ("name", "Fern"), ("transponder", "900012000007777")),
        b=(("tag", "K8"),),
    )
    young = draft(of(f"Y1,,,bp,,2024-05-01,,{said}\n", known).lines[1])
    assert young.dam == ListedParent(said, animal="a")
    assert young.sire is None


def test_one_that_stands_in_the_list_and_on_record_is_one() -> None:
    known = by_code(a=(("tag", "D1"), ("name", "Moss")))
    plan = of(f"{PAIR}Y1,,,bp,,2024-05-01,Ash,D1\n", known)
    assert plan.lines[2].state == "here"
    assert draft(plan.lines[3]).dam == ListedParent("D1", animal="a")


def test_two_lines_that_say_the_same_are_one_parent() -> None:
    plan = of("D1,,,bp,,,,\nD1,,,bp,,,,\nY1,,,bp,,,,D1\n")
    assert draft(plan.lines[3]).dam == ListedParent("D1", line=2)


def test_a_parent_that_is_nowhere_is_asked_about_once_and_goes_into_the_description() -> None:
    rows = "Y1,,,bp,,,Big Al,\nY2,,,bp,,,,Bertha\n"
    plan = of(rows)
    assert [(one.name, one.lines) for one in plan.questions] == [("parents", 2)]
    assert "Big Al (sire)" in plan.questions[0].text
    told = of(rows, parents="describe").lines[1]
    assert (draft(told).sire, draft(told).description) == (None, "Sire: Big Al")
    assert told.why == "Its sire only in its description."
    assert of(rows, parents="skip").counts["cannot"] == 2


def test_a_parent_that_is_nowhere_is_asked_about_together_with_all_else() -> None:
    plan = of("Y1,,,bp,cock,,,Bertha\n")
    assert {one.name for one in plan.questions} == {"sex=cock", "parents"}


def test_of_several_animals_of_one_name_none_is_guessed() -> None:
    rows = "M1,Moss,,bp,,2020-01-01,,\nM2,Moss,,bp,,2021-01-01,,\nY1,,,bp,,2024-05-01,,Moss\n"
    known = by_code(a=(("tag", "K1"), ("name", "Moss")))
    plan = of(rows, known)
    assert plan.lines[3].waits == ("parent=Moss",)
    options = dict(plan.questions[0].options)
    assert options["line-2"] == "Moss, M1: ball python, hatched 2020-01-01 (line 2)"
    assert "on record" in options["a"]
    assert draft(of(rows, known, **{"parent=Moss": "line-3"}).lines[3]).dam == ListedParent(
        "Moss", line=3
    )
    assert draft(of(rows, known, **{"parent=Moss": "a"}).lines[3]).dam == ListedParent(
        "Moss", animal="a"
    )
    described = draft(of(rows, known, **{"parent=Moss": "describe"}).lines[3])
    assert described.description == "Dam: Moss"
    assert of(rows, known, **{"parent=Moss": "line-9"}).lines[3].waits, "no answer to what is asked"


def test_one_of_another_species_is_asked_about() -> None:
    """Hybrids there are; far more often a short tag is another animal's."""
    rows = "D1,,,corn,,2020-01-01,,\nY1,,,bp,,2024-05-01,,D1\n"
    assert of(rows).lines[2].waits == ("parent=D1",)
    young = draft(of(rows, **{"parent=D1": "line-2"}).lines[2])
    assert young.dam == ListedParent("D1", line=2)


@pytest.mark.parametrize(
    ("rows", "line", "why"),
    [
        ("S1,,,bp,f,,,\nY1,,,bp,,,S1,\n", 3, "Its sire, line 2, is female in this list."),
        ("D1,,,bp,m,,,\nY1,,,bp,,,,D1\n", 3, "Its dam, line 2, is male in this list."),
        ("D1,,,bp,,2024-05-01,,\nY1,,,bp,,2024-05-01,,D1\n", 3, "not before it"),
        ("Y1,,,bp,,,,Y1\n", 2, "its own ancestor"),
        ("A1,,,bp,,,A2,\nA2,,,bp,,,A1,\n", 2, "its own ancestor"),
        ("D1,,,bp,,,,\nY1,,,bp,,,D1,D1\n", 3, "the same animal"),
    ],
)
def test_who_cannot_be_a_parent_is_told(rows: str, line: int, why: str) -> None:
    found = of(rows).lines[line - 1]
    assert (found.state, found.draft) == ("cannot", None)
    assert why in found.why


def test_an_unsure_sex_in_the_list_rules_no_parent_out() -> None:
    assert draft(of("S1,,,bp,f?,,,\nY1,,,bp,,,S1,\n").lines[2]).sire == ListedParent("S1", line=2)


def test_young_that_are_called_as_their_parent_are_not_their_own() -> None:
    rows = "A1,Moss,,bp,,2020-01-01,,\nA2,Moss,,bp,,2024-01-01,,Moss\n"
    assert draft(of(rows).lines[2]).dam == ListedParent("Moss", line=2)


def test_a_parent_whose_line_waits_keeps_its_young_back_and_no_others() -> None:
    rows = "D1,,,bp,cock,,,\nY1,,,bp,,,,D1\nZ1,,,bp,,,,Y1\nA1,,,bp,,,,\n"
    plan = of(rows)
    assert [line.waits for line in plan.lines[1:4]] == [("sex=cock",)] * 3
    assert [line.number for line in plan.of("new")] == [5]
    assert of(rows, **{"sex=cock": "unknown"}).counts["new"] == 4


def test_a_parent_whose_line_cannot_be_stored_is_asked_about() -> None:
    rows = "D1,,9.00E+14,bp,,,,\nY1,,,bp,,,,D1\nZ1,,,bp,,,,Y1\n"
    assert [line.waits for line in of(rows).lines[2:]] == [("parents",)] * 2
    plan = of(rows, parents="describe")
    assert draft(plan.lines[2]).description == "Dam: D1"
    assert draft(plan.lines[3]).dam == ListedParent("Y1", line=3)


def test_an_animal_known_by_its_name_alone_is_not_asked_about_when_it_is_brought_again() -> None:
    known = {("name", "moss"): [KnownAnimal("a", "Moss", "python_regius", "2020-01-01", ())]}
    rows = ",Moss,,bp,,2020-01-01,,\nY1,,,bp,,2024-05-01,,Moss\n"
    assert draft(of(rows, known).lines[2]).dam == ListedParent("Moss", line=2)


def test_a_line_of_young_as_long_as_a_list_may_be_is_read() -> None:
    rows = "".join(f"A{n},,,bp,,,,{f'A{n + 1}' if n < 3000 else ''}\n" for n in range(3001))
    plan = of(rows)
    assert plan.counts["new"] == 3001
    assert max(line.generation for line in plan.lines) == 3000


def test_the_same_line_says_the_same_with_parents_and_without() -> None:
    """What tells an animal are its codes, so that parents added later register none twice."""
    from scalewitness.domain.tables.drafts import ContentIds

    with_, without = (draft(of(f"{PAIR}Y1,,,bp,,,{sire},\n").lines[3]) for sire in ("S1", ""))
    assert ContentIds("s", "c", with_).animal == ContentIds("s", "c", without).animal
