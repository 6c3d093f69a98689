"""What is no pedigree, and who imports what."""

import subprocess
import sys
from pathlib import Path

import pytest
from tests.domain.genetics.families import animal, pedigree

from scalewitness.domain.genetics.carried import carried
from scalewitness.domain.genetics.pedigree import BadPedigree, Member
from scalewitness.domain.genetics.traits import locus
from scalewitness.domain.sexing.linked_trait import Parents, linked_prior, linked_traits

SERVER = Path(__file__).parents[3] / "server" / "scalewitness"


@pytest.mark.parametrize(
    "members",
    [
        [animal("a"), animal("a")],
        [animal("a", "b")],
        [animal("a", "b"), animal("b", "a")],
        [animal("a", "a")],
        [animal("a"), Member("b", 0.5, {"a": 0.7, None: 0.4})],
        [animal("a"), Member("b", 0.5, {"a": -0.1})],
        [Member("a", 1.5)],
        [animal("a"), animal("b", "a", litter="l"), animal("c", None, "a", litter="l")],
    ],
    ids=["twice", "no member", "a ring", "itself", "above 1", "below 0", "no chance", "a litter"],
)
def test_what_is_no_pedigree(members):
    with pytest.raises(BadPedigree):
        pedigree(*members)


@pytest.mark.parametrize(("from_sire", "beside"), [(True, "Y"), (False, "X")])
def test_a_coral_glow_and_the_start_of_a_youngs_sex(from_sire, beside):
    """From the whole pedigree the same as from the two parents (domain/sexing/linked_trait): what a
    sire has from his own sire lies beside his Y."""
    trait, glow = linked_traits()["coral_glow"], locus("python_regius", "coral_glow")
    one, none = {("wild", "coral_glow"): 1.0}, {("wild", "wild"): 1.0}
    at = {"at": "coral_glow"}
    older = [
        animal("grandsire", male=1.0, known=one if from_sire else none, **at),
        animal("granddam", male=0.0, known=none if from_sire else one, **at),
        animal("sire", "grandsire", "granddam", male=1.0, known=one, **at),
        animal("dam", male=0.0, known=none, **at),
    ]
    shown = {}
    for male in (True, False):
        young = animal("young", "sire", "dam", male=float(male))
        shown[male] = carried(pedigree(*older, young), glow)["young"]["wild", "coral_glow"]
    start = linked_prior(trait, Parents(1, 0, beside), "one_copy").p_male
    assert shown[True] / (shown[True] + shown[False]) == pytest.approx(start)


def test_only_the_workers_tables_are_arrays():
    """A page computes with lists: everything but arrays.py is imported without numpy."""
    names = sorted(one.stem for one in (SERVER / "domain" / "genetics").glob("*.py"))
    assert "arrays" in names
    modules = [f"scalewitness.domain.genetics.{one}" for one in names if one != "arrays"]
    code = (
        f"import importlib, sys; [importlib.import_module(one) for one in {modules!r}]; "
        "sys.exit(bool({'numpy', 'scipy'} & {name.partition('.')[0] for name in sys.modules}))"
    )
    done = subprocess.run(  # noqa: S603
        [sys.executable, "-c", code], env={"PYTHONPATH": str(SERVER.parent)}, check=False
    )
    assert done.returncode == 0


def _importing(module):
    """Modules of the server that name it."""
    return {
        one.relative_to(SERVER).as_posix()
        for one in SERVER.rglob("*.py")
        if f"import {module}" in (text := one.read_text("utf-8")) or f"from {module} " in text
    }


def test_nothing_but_a_task_imports_them():
    arrays = _importing("scalewitness.domain.genetics.arrays")
    assert arrays == {"seasons/services/computing.py"}
    assert _importing("scalewitness.seasons.services.computing") == {"seasons/tasks.py"}
