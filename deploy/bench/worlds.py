"""Worlds to draw animals from: the model's own, and others that it does not describe."""

import sys
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from scalewitness.domain.sexing.evidence import Role


class World(NamedTuple):
    """What is true in it. Rates not named are the model's; ``shift`` and ``outlier`` are of
    probing depths, ``mislead`` multiplies the share of misleading animals, ``errors`` gives
    Beta parameters by role, ``mix_up`` and ``hidden`` are shares of calls on another animal
    although a code was read, and of calls said to be blind that were not. ``by_sex`` multiplies
    errors in males and in females, ``clench`` is the share of males that always probe as
    females, ``follow`` how often who knows an answer repeats it, ``knowing`` how many such calls
    each animal gets besides; ``bias`` the standard deviation of an examiner's own depth, in half
    scales; ``deeper`` by how many half scales males of the first species probe deeper than is
    held for them; ``false`` the share of reported proofs that say what the sender likes.
    ``shared``: errors are drawn once for all checks that share them, as `MODEL.md` draws them, and
    half of the proofs are the sender's word alone."""

    name: str
    errors: dict[Role, tuple[float, float]]
    mislead: float = 1.0
    shift: int = 0
    outlier: float = 0.0
    mix_up: float = 0.0
    hidden: float = 0.0
    by_sex: tuple[float, float] = (1.0, 1.0)
    clench: float = 0.0
    follow: float | None = None
    knowing: int = 0
    bias: float = 0.0
    deeper: int = 0
    false: float | None = None
    shared: bool = False


AS_MODELLED = World(
    "every error anew for each check",
    {"keeper": (2, 38), "veterinarian": (1, 49), "laboratory": (1, 99)},
)
OTHERWISE = World(
    "another world",
    {"keeper": (4, 36), "veterinarian": (2, 48), "laboratory": (2, 98)},
    mislead=4.0,
    shift=2,
    outlier=0.05,
    mix_up=0.01,
    hidden=0.25,
)

UNEVEN = AS_MODELLED._replace(
    name="males slip 8 %, females 2 %", by_sex=(1.6, 0.4), errors=AS_MODELLED.errors
)
WORLDS = (
    AS_MODELLED._replace(name="as the model has it", shared=True),
    AS_MODELLED,
    OTHERWISE,
    UNEVEN,
    UNEVEN._replace(name="the same, and 2 % of males always clench", clench=0.02),
    AS_MODELLED._replace(name="three of four who know follow", follow=0.75),
    AS_MODELLED._replace(name="four knowing calls each", knowing=4),
    AS_MODELLED._replace(name="examiners biased in depth", bias=1.5),
    AS_MODELLED._replace(name="males of one species probe two scales shallower", deeper=-4),
    AS_MODELLED._replace(name="5 % of reports false", false=0.05),
)
