"""When a probability becomes a label: versioned thresholds, a change of which is a fact."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.parameters import Parameter, numbers_of
from scalewitness.domain.sexing.tables import table


class Policy(Struct, frozen=True, eq=False):
    """Thresholds are shares between ½ and 1; ``contrary`` is what one session must say by
    itself from an even start, so 0.9 is 9 to 1. ``decisive`` gives the roles whose
    conclusive finding needs no second examiner; ``excluded`` methods are no examination.
    """

    version: str
    verified: float
    verified_pessimistic: float
    probable: float
    contrary: float
    examiners: int
    blind_calls: int
    decisive: Mapping[Method, tuple[Role, ...]]
    excluded: tuple[Method, ...]
    numbers: tuple[Parameter, ...] = ()

    def labels_as(self, other: "Policy") -> bool:
        """Whether both have the same thresholds; nothing else of a policy can be adopted."""
        return all(getattr(self, name) == getattr(other, name) for name in _THRESHOLDS)


def adopted(version: str, thresholds: Mapping[str, str]) -> Policy:
    """The default policy with other thresholds, as a fact gives them: decimal strings by
    name. Raises ValueError for a name that is no threshold or a share outside (½, 1)."""
    values = {name: float(share) for name, share in thresholds.items()}
    for name, value in values.items():
        if name not in _THRESHOLDS or not 0.5 < value < 1:
            raise ValueError(f"{name} {value:g} is not a threshold between one half and one")
    return replace(DEFAULT_POLICY, version=version, numbers=(), **values)


def _default() -> Policy:
    sheet = table("policy.toml")
    numbers = (*numbers_of("policy", sheet["thresholds"]), *numbers_of("policy", sheet["counts"]))
    return Policy(
        version=sheet["version"],
        **{name: float(sheet["thresholds"][name]["value"]) for name in _THRESHOLDS},
        examiners=sheet["counts"]["examiners"]["value"],
        blind_calls=sheet["counts"]["blind_calls"]["value"],
        decisive=MappingProxyType({m: tuple(roles) for m, roles in sheet["decisive"].items()}),
        excluded=tuple(sheet["examination"]["excluded"]),
        numbers=numbers,
    )


_THRESHOLDS: Final = ("verified", "verified_pessimistic", "probable", "contrary")
DEFAULT_POLICY: Final = _default()
