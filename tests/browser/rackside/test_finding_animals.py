"""Animals found by what was typed or read, in the app's pure modules."""

from typing import Any


def test_a_code_of_another_animal_on_the_list_is_told(modules: Any) -> None:
    """Of those on this list only: the phone knows no others, and no name of a blind one."""
    animals = [
        {"id": "1", "identifiers": [{"scheme": "transponder", "code": "276098100000011"}]},
        {
            "id": "2",
            "identifiers": [
                {"scheme": "tag", "code": "AX-2"},
                {"scheme": "transponder", "code": "276098100000012"},
            ],
        },
    ]
    script = (
        "given[1].map(([identified, code]) =>"
        " m.ofAnother(given[0], given[0][0], { identified, code }).join())"
    )
    read = [
        ["transponder", "276 098 100 000 012"],
        ["tag", "ax 2"],
        ["transponder", "276098100000011"],
        ["transponder", "276098100000099"],
        ["tag", "276098100000012"],
        ["keeper_said", ""],
    ]
    told = modules("search", script, [animals, read])
    assert [one.partition(". If")[0] for one in told] == [
        "This transponder is that of AX-2", "This tag is that of AX-2", "",
        "This is not the transponder on record for this animal. Read it again; if it is the same, "
        "note the check, and tell the keeper.", "", "",
    ]  # fmt: skip


def test_animals_are_found_by_code_and_name(modules: Any) -> None:
    animals = [
        {"id": "1", "identifiers": [{"scheme": "tag", "code": "AX-12"}]},
        {"id": "2", "identifiers": [{"scheme": "transponder", "code": "276098100000012"}]},
        {"id": "3", "identifiers": [{"scheme": "tag", "code": "AX-1"}], "name": "Nettle"},
    ]
    script = "given[1].map((typed) => m.find(given[0], typed).map((one) => one.id).join())"
    typed = ["ax 1", "276 0981", "nett", "", "zz"]
    assert modules("search", script, [animals, typed]) == ["3,1", "2", "3", "1,2,3", ""]
