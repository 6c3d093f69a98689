"""Animals to plan checks of, and a short way to ask for a plan."""

from tests.domain.sexing.builders import (
    BALL,
    male,
)

from scalewitness.domain.sexing.feasible import (
    Available,
    Candidate,
)
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.planning import plan
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY

SECOND = load_parameters("sexing-2")
IDA, IVO = Available("ida", "keeper"), Available("ivo", "keeper")
VERA, LAB = Available("vera", "veterinarian"), Available("lab", "laboratory")
ANYONE = Available("keeper", "keeper", anyone=True)
EVERYONE = (IDA, VERA, LAB)
LATER = 10**14  # long after every call of the builders, however many tests ran before


def animal_of(*calls, taxon=BALL, stage="adult", **other):
    return Candidate("x", taxon, stage, tuple(calls), **other)


def plan_of(candidate, *by, parameters=SECOND, at=LATER):
    return plan(candidate, by or EVERYONE, at, EMPTY, DEFAULT_POLICY, parameters)


def check_of(candidate, method, by, parameters=SECOND):
    found = plan_of(candidate, by, parameters=parameters).checks
    return next(one for one in found if one.method == method)


def owner(**other):
    return male("olive", blind=False, interested=True, **other)
