"""Species as keepers write them: by key, Latin or common name, or in short."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache, lru_cache
from typing import Final

from scalewitness.domain.sexing.taxa import species_list

SHORT: Final[Mapping[str, str]] = {
    "python_regius": "bp|bps|ball|balls|royal|royals|royal python|royal pythons|königspython",
    "python_bivittatus": "burm|burmese|python molurus bivittatus|tigerpython",
    "malayopython_reticulatus": "retic|retics|python reticulatus"
    "|broghammerus reticulatus|netzpython",
    "python_brongersmai": "blood|bloods|python curtus brongersmai",
    "morelia_viridis": "gtp|chondro|chondros|chondropython viridis",
    "simalia_amethistina": "morelia amethistina|amethystine python",
    "boa_constrictor": "bcc|true red tail boa|boa constrictor constrictor",
    "boa_imperator": "bci|boa constrictor imperator|colombian boa|red tail boa",
    "epicrates_cenchria": "brb|rainbow boa|regenbogenboa",
    "eryx_colubrinus": "ksb|sand boa|gongylophis colubrinus|east african sand boa",
    "pantherophis_guttatus": "corn|corns|elaphe guttata|pantherophis guttata|kornnatter",
    "pantherophis_obsoletus": "rat snake|black rat snake|elaphe obsoleta|texas rat snake",
    "lampropeltis_getula": "king|kings|king snake|lampropeltis getula"
    "|common kingsnake|kettennatter",
    "lampropeltis_triangulum": "milk|milks|milk snake|lampropeltis triangulum|dreiecksnatter",
    "lampropeltis_californiae": "cal king|cali king|california king"
    "|lampropeltis getula californiae",
    "heterodon_nasicus": "hog|hogs|hoggie|hognose|western hognose|hakennasennatter",
    "thamnophis_sirtalis": "garter|garters|common garter snake|strumpfbandnatter",
    "pituophis_catenifer": "gopher snake|bullsnake|bull snake|bull",
    "morelia_spilota": "carpet|carpets|jungle carpet python|coastal carpet python|teppichpython",
    "acrantophis_dumerili": "dumerils|dumeril boa",
    "boaedon_fuliginosus": "house snake",
}
"""Names in use besides those on the sheet of species; the trade's short ones are our judgement, so
each is shown with what it was taken for."""
_CLOSE: Final = 0.8
"""Likeness from which a misspelt name is offered, to be agreed to (our judgement)."""


@dataclass(frozen=True, slots=True)
class SeenSpecies:
    """``key`` of the species, empty where none is meant; ``sure``: it need not be agreed to."""

    key: str = ""
    sure: bool = False


def is_species(text: str) -> bool:
    """Whether it is a name of one, rightly spelt."""
    return _plain(text) in _names()


@lru_cache(maxsize=1024)
def see_species(text: str) -> SeenSpecies:
    name = _plain(text)
    names = _names()
    if name in names:
        return SeenSpecies(names[name], sure=True)
    close = get_close_matches(name, names, n=1, cutoff=_CLOSE) if len(name) > 4 else []
    return SeenSpecies(names[close[0]]) if close else SeenSpecies()


@cache
def _names() -> Mapping[str, str]:
    """Every name there is, and the Latin one with its genus in one letter where that is one's."""
    found: dict[str, str] = {}
    initials: dict[str, set[str]] = {}
    for kind in species_list():
        if kind.key == "serpentes":
            continue
        latin = kind.scientific.removesuffix(" complex")
        genus, _, epithet = latin.partition(" ")
        for name in (kind.key, latin, *kind.common.split(" or ")):
            found[_plain(name)] = kind.key
        initials.setdefault(_plain(f"{genus[0]} {epithet}"), set()).add(kind.key)
    found |= {_plain(name): key for key, names in SHORT.items() for name in names.split("|")}
    return {short: keys.pop() for short, keys in initials.items() if len(keys) == 1} | found


def _plain(text: str) -> str:
    words = re.findall(r"[^\W_]+", text.lower().replace("'", "").replace("’", ""))
    name = " ".join(words)
    return (
        name.removesuffix("s") if name.endswith(("pythons", "boas", "snakes", "vipers")) else name
    )
