"""The snakes the model knows, for forms."""

from decimal import Decimal
from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.shapes import words
from scalewitness.domain.sexing.taxa import Taxon, species_list
from scalewitness.domain.sexing.taxon_sources import RangeSource

Depths = Annotated[
    tuple[Decimal, Decimal] | None, Meta(description="Lowest and highest, in subcaudal scales.")
]


DnaTest = Annotated[str, words.one_of("none", "evidence", "settles")]


class DepthSource(Struct, frozen=True):
    """What one source says of how deep a species probes; ``about``: of which other snakes it
    speaks, empty when of this species."""

    female: Depths
    male: Depths
    source: str
    status: str
    about: str


class SpeciesShown(Struct, frozen=True):
    """``key`` is what facts name; ``status`` that of the weakest source of depths; ``ground``
    what they rest on taken together: where it is not `published` probing alone verifies no sex.
    ``sex_system_level``: of what group the sex chromosomes are stated; ``dna_test``: whether a
    DNA test may be evidence in this species, and whether it may settle a sex."""

    key: str
    common: str
    scientific: str
    sex_system: str
    sex_system_status: str
    sex_system_level: str | None
    dna_test: DnaTest
    female_depth: Depths
    male_depth: Depths
    status: str
    ground: str | None
    sources: list[DepthSource]


class SpeciesList(Struct, frozen=True):
    items: list[SpeciesShown]


@operation("List species", gives={200: SpeciesList})
def list_species(request: Request) -> Response:
    """With how deep each sex probes, by which source. `serpentes` stands for any other."""
    return Response(SpeciesList([_shown(kind) for kind in species_list()]))


def _shown(kind: Taxon) -> SpeciesShown:
    return SpeciesShown(
        key=kind.key,
        common=kind.common,
        scientific=kind.scientific,
        sex_system=kind.sex_system,
        sex_system_status=kind.sex_system_status,
        sex_system_level=kind.sex_system_level,
        dna_test=_dna_test(kind),
        female_depth=kind.female_range,
        male_depth=kind.male_range,
        status=kind.status,
        ground=kind.ground,
        sources=[_source(one) for one in kind.sources],
    )


def _source(one: RangeSource) -> DepthSource:
    return DepthSource(one.female, one.male, one.source, one.status, one.about)


def _dna_test(kind: Taxon) -> str:
    if kind.marker_settles:
        return "settles"
    return "evidence" if kind.has_dna_test else "none"
