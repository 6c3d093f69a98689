"""The snakes the model knows, for forms."""

from decimal import Decimal
from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.domain.sexing.taxa import RangeSource, Taxon, species_list

Depths = Annotated[
    tuple[Decimal, Decimal] | None, Meta(description="Lowest and highest, in subcaudal scales.")
]


class DepthSource(Struct, frozen=True):
    """What one source says of how deep a species probes."""

    female: Depths
    male: Depths
    source: str
    status: str


class SpeciesShown(Struct, frozen=True):
    """``key`` is what facts name; ``status`` that of the weakest source of depths."""

    key: str
    common: str
    scientific: str
    sex_system: str
    sex_system_status: str
    female_depth: Depths
    male_depth: Depths
    status: str
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
        female_depth=kind.female_range,
        male_depth=kind.male_range,
        status=kind.status,
        sources=[_source(one) for one in kind.sources],
    )


def _source(one: RangeSource) -> DepthSource:
    return DepthSource(one.female, one.male, one.source, one.status)
