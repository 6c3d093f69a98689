"""How often animals show signs of harm at or after an examiner's checks.

No published rate of harm from sexing was found, so the rate starts from the Jeffreys prior
Beta(½, ½) (Brown, Cai and DasGupta 2001), which says next to nothing. An examination with
any number of signs counts once.
"""

from collections import Counter
from collections.abc import Iterable
from typing import Final

from msgspec import Struct

from scalewitness.domain.observations import Harm, Method
from scalewitness.domain.sexing.examiners.beta import LEVEL, interval, updated
from scalewitness.domain.sexing.records import Beta
from scalewitness.domain.sexing.tables import table

_JEFFREYS: Final = table("examiners.toml")["harm.prior"]
PRIOR: Final[Beta] = (float(_JEFFREYS["a"]), float(_JEFFREYS["b"]))


class Examination(Struct, frozen=True):
    """One handling of one animal by one examiner, with the signs of harm seen."""

    examiner: str
    method: Method
    harm: tuple[Harm, ...] = ()


class HarmRate(Struct, frozen=True):
    """Examinations with signs of harm among all, and the rate they speak for: posterior
    Beta, its mean and equal-tailed interval. ``signs`` counts each kind, commonest first."""

    harmed: int
    examined: int
    signs: tuple[tuple[Harm, int], ...]
    posterior: Beta
    mean: float
    low: float
    high: float


def harm_rate(
    examinations: Iterable[Examination], prior: Beta = PRIOR, level: float = LEVEL
) -> HarmRate:
    """The rate over all the examinations given, whoever made them."""
    signs: list[tuple[Harm, ...]] = [one.harm for one in examinations]
    harmed = sum(bool(seen) for seen in signs)
    posterior = updated(prior, harmed, len(signs) - harmed)
    low, high = interval(posterior, level)
    kinds = Counter(kind for seen in signs for kind in set(seen))
    return HarmRate(
        harmed=harmed,
        examined=len(signs),
        signs=tuple(sorted(kinds.items(), key=lambda item: (-item[1], item[0]))),
        posterior=posterior,
        mean=posterior[0] / sum(posterior),
        low=low,
        high=high,
    )


def harm_rates(
    examinations: Iterable[Examination],
) -> dict[tuple[str, Method], HarmRate]:
    """The rate of each examiner by each method."""
    sorted_out: dict[tuple[str, Method], list[Examination]] = {}
    for one in examinations:
        sorted_out.setdefault((one.examiner, one.method), []).append(one)
    return {key: harm_rate(sorted_out[key]) for key in sorted(sorted_out)}
