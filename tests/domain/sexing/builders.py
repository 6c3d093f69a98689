"""Calls and records for the tests, with everything that does not matter filled in."""

from itertools import count
from typing import Any

from scalewitness.domain.observations import Observation, Pass, Probing
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.standing import Assessment, assess
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import Taxon, read_taxa, taxon

HOUR = 3_600_000
DAY = 24 * HOUR

BALL = taxon("python_regius")
CORN = taxon("pantherophis_guttatus")
SCRUB = taxon("simalia_amethistina")
BOA = taxon("boa_imperator")
MASSASAUGA = taxon("sistrurus_catenatus")

PARAMETERS = load_parameters()
"""Those in force where no policy was adopted."""

_positions = count(1)


def invented(**about: Any) -> Taxon:
    """A taxon of which a sheet says only this."""
    row = {"key": "k", "scientific": "", "common": "", "sex_system": "XY", **about}
    stages = table("sexing-3", "taxa.toml")["stages"]
    return read_taxa({"taxon": [row], "stages": stages}, "sexing-3")["k"]


def probed(*depths: float, stopped: str = "resistance") -> Probing:
    """One pass per depth, sides in turn."""
    sides = ("left", "right")
    return Probing(
        tuple(Pass(sides[n % 2], f"{depth:g}", stopped) for n, depth in enumerate(depths))
    )


def call(conclusion: str, observed: Observation, examiner: str = "ash", **other: Any) -> Evidence:
    """A blind, confirmed call by a keeper without a share in the animal, days after the
    one before it; any of that can be said otherwise."""
    position = other.pop("position", next(_positions))
    given = {
        "call": f"call-{position}",
        "role": "keeper",
        "at": position * 3 * DAY,
        "stage": "adult",
        "sureness": "certain",
        "identity": "confirmed",
        "blind": True,
        "interested": False,
    }
    return Evidence(
        examiner=examiner,
        position=position,
        conclusion=conclusion,
        observed=observed,
        **(given | other),
    )


def male(examiner: str = "ash", **other: Any) -> Evidence:
    """Probed as a ball python male is."""
    return call("male", probed(9, 9), examiner, **other)


def female(examiner: str = "ash", **other: Any) -> Evidence:
    """Probed as a ball python female is."""
    return call("female", probed(3, 3), examiner, **other)


def standing(*calls: Evidence, **other: Any) -> Assessment:
    """The standing of a ball python under the default policy unless said otherwise."""
    given: dict[str, Any] = {
        "taxon": BALL,
        "records": EMPTY,
        "policy": DEFAULT_POLICY,
        "parameters": PARAMETERS,
    }
    return assess(calls, **(given | other))
