"""Animals as a table for a spreadsheet, with the columns of the command's own export."""

from collections.abc import Iterable, Mapping
from typing import Any, Final
from uuid import UUID

from scalewitness.animals.models import ON_SHEET
from scalewitness.animals.queries import LastNoted, conditions_of
from scalewitness.domain.tables.files import MARK, written
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import UNSEXED, latest_standings

COLUMNS: Final = (
    "id", "tag", "transponder", "species", "hatched", "name", "rack", "description", "collection",
    "grams", "standing", "p_male",
)  # fmt: skip


def exported(animals: Iterable[Any]) -> str:
    """CSV of the animals, each with its ``sight``: no cell is computed by a spreadsheet, and of one
    to be checked blind there is what stands on its sheet."""
    listed = list(animals)
    whole = [one.pk for one in listed if one.sight == "all"]
    standings, noted = latest_standings(whole), conditions_of([one.pk for one in listed])
    return MARK + written(COLUMNS, (_cells(one, noted[one.pk], standings) for one in listed))


def _cells(animal: Any, noted: LastNoted, standings: Mapping[UUID, Standing]) -> list[object]:
    whole = _of_whole(animal, standings) if animal.sight == "all" else {}
    row = _on_sheet(animal, noted) | whole
    return [row.get(name) for name in COLUMNS]


def _on_sheet(animal: Any, noted: LastNoted) -> dict[str, object]:
    marks = [one for one in animal.identifiers.all() if one.scheme in ON_SHEET]
    codes = {one.scheme: one.code for one in reversed(marks)}
    more = {"species": animal.species, "hatched": animal.hatched, "grams": noted.grams}
    return {"id": animal.pk, **codes, **more}


def _of_whole(animal: Any, standings: Mapping[UUID, Standing]) -> dict[str, object]:
    standing = standings.get(animal.pk)
    return {
        **{name: getattr(animal, name) for name in ("name", "rack", "description")},
        "collection": animal.collection_id,
        "standing": standing.label if standing else UNSEXED,
        "p_male": standing.p_male if standing else None,
    }
