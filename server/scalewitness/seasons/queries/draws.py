"""What the animals of a season carry, drawn for all of them at once.

Sisters carry alike more often than not: drawn each by itself, a season of relatives would look
safer than it is.
"""

from typing import Any

from scalewitness.domain.genetics.elimination import TooTangled
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.sampling import sampled
from scalewitness.domain.genetics.tables import Tables
from scalewitness.domain.season.stated import key_of
from scalewitness.domain.season.values import Sample
from scalewitness.seasons.queries.inputs import SeasonRead


def samples_of(read: SeasonRead, tables: Tables[Any]) -> tuple[Sample, ...]:
    """As many as the season has scenarios, by animal and the locus's key among all species. None
    where one species' pedigree is too tangled or contradicts itself: then every animal is
    drawn by itself, from ``carries``."""
    season = read.season
    found: list[Sample] = [{} for _ in range(season.scenarios)]
    for species, stock in read.stocks.items():
        own = [one.animal for one in season.animals if one.species == species]
        try:
            drawn = sampled(stock.pedigree, stock.loci, len(found), season.seed, tables, own)
        except (Contradiction, TooTangled):
            return ()
        found = [
            {
                **earlier,
                **{
                    animal: {key_of(species, key): value for key, value in at.items()}
                    for animal, at in one.genotypes.items()
                },
            }
            for earlier, one in zip(found, drawn, strict=True)
        ]
    return tuple(found) if season.loci else ()
