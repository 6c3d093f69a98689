"""Random pedigrees with every genotype's chance by pgmpy: makes tests/vectors/genotypes_pgmpy.json.

    python3 -m venv PEERS && PEERS/bin/pip install -r deploy/bench/requirements.txt
    PEERS/bin/python deploy/bench/genotypes_peer.py > tests/vectors/genotypes_pgmpy.json

Nothing of ours is imported. The networks are of alleles, gametes and meioses, where ours are of
genotypes, so that the two have no step in common. Loops, several loci, linked pairs, loci on
either sex chromosome and across both, uncertain parents, parthenogenesis and misread looks are
drawn at random.
"""

import json
import logging
import random
import sys
from collections.abc import Callable, Mapping, Sequence
from importlib.metadata import version
from itertools import combinations_with_replacement, product
from typing import Any

import numpy as np
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork

SEED, PEDIGREES = 20261130, 200
FEMALE, MALE = 0, 1
DOUBLED_M, DOUBLED_P, SAME = 0, 1, 2


def main() -> int:
    logging.disable()
    dice = random.Random(SEED)  # noqa: S311  chosen to be repeatable
    drawn = []
    while len(drawn) < PEDIGREES:
        case = draw(dice)
        found = Peer(case).answers()
        if found is not None:
            drawn.append({**case, "expected": found})
            print(len(drawn), file=sys.stderr, end="\r")
    made_by = {name: version(name) for name in ("pgmpy", "numpy")}
    text = {
        "source": "deploy/bench/genotypes_peer.py, variable elimination by pgmpy",
        "versions": made_by,
        "seed": SEED,
        "tolerance": 1e-9,
    }
    print(json.dumps({**text, "pedigrees": drawn}, separators=(",", ":")))
    return 0


# --- drawing ------------------------------------------------------------------------------


def draw(dice: random.Random) -> dict[str, Any]:
    """One pedigree in words that both sides read."""
    loci = _loci(dice)
    members: list[dict[str, Any]] = []
    for n in range(dice.randint(4, 9)):
        one = _member(dice, f"n{n}", [earlier["id"] for earlier in members])
        one["evidence"] = {
            locus["key"]: _likelihoods(dice, locus) for locus in loci if dice.random() < 0.55
        }
        members.append(one)
    return {"loci": loci, "members": members}


def _loci(dice: random.Random) -> list[dict[str, Any]]:
    plain = {"system": None, "to_sex": None, "linked": None}
    kinds = [
        [plain],
        [plain, plain],
        [{**plain, "alleles": 3}],
        [plain, {**plain, "linked": round(dice.uniform(0, 0.5), 3)}],
        [{**plain, "system": dice.choice(["XY", "ZW"])}, plain],
        [{**plain, "system": dice.choice(["XY", "ZW"]), "to_sex": round(dice.uniform(0, 0.3), 3)}],
    ]
    return [
        {"alleles": 2, **one, "key": f"l{n}", "frequency": round(dice.uniform(0.02, 0.4), 3)}
        for n, one in enumerate(dice.choice(kinds))
    ]


def _member(dice: random.Random, key: str, earlier: Sequence[str]) -> dict[str, Any]:
    male = dice.choice([0.0, 0.1, 0.5, 0.5, 0.9, 1.0])
    one: dict[str, Any] = {"id": key, "male": male, "sires": {}, "dams": {}, "alone": None}
    if len(earlier) < 2 or dice.random() < 0.15:
        return one
    one["sires"], one["dams"] = _parents(dice, earlier), _parents(dice, earlier)
    if dice.random() < 0.15 and len(one["dams"]) == 1:
        one["alone"] = [round(dice.uniform(0.1, 0.9), 2), dice.choice([0.0, 0.5, 1.0])]
    return one


def _parents(dice: random.Random, earlier: Sequence[str]) -> dict[str, float]:
    sort = dice.random()
    if sort < 0.1:
        return {}
    if sort < 0.7:
        return {dice.choice(earlier): 1.0}
    if sort < 0.85:
        return {dice.choice(earlier): 0.8}
    one, other = dice.sample(earlier, 2)
    return {one: 0.6, other: round(dice.uniform(0.1, 0.4), 2)}


def _likelihoods(dice: random.Random, locus: Mapping[str, Any]) -> dict[str, float]:
    found = {name: dice.choice([1.0, 1.0, 0.05, 0.4]) for name in names(locus)}
    return {name: max(p, 0.001) for name, p in found.items()}


def names(locus: Mapping[str, Any]) -> list[str]:
    """Genotypes as "0/1", the wild type 0; "1" alone where a sex has one such chromosome."""
    alleles = range(locus["alleles"])
    pairs = [f"{a}/{b}" for a, b in combinations_with_replacement(alleles, 2)]
    return pairs + ([str(a) for a in alleles] if hemizygous(locus) else [])


def hemizygous(locus: Mapping[str, Any]) -> bool:
    return locus["system"] is not None and locus["to_sex"] is None


# --- the peer's network -------------------------------------------------------------------


class Peer:
    """Allele from the dam (M) and from the sire (P) of every animal at every locus, with the
    meioses (T) and gametes (G) between them, whose it is (O), and its sex (S)."""

    def __init__(self, case: Mapping[str, Any]) -> None:
        self.loci, self.members = case["loci"], case["members"]
        self.system = next((one["system"] for one in self.loci if one["system"]), None)
        self.cards: dict[str, int] = {}
        self.tables: list[TabularCPD] = []
        self.edges: list[tuple[str, str]] = []
        self.seen: dict[str, int] = {}
        for one in self.members:
            self._animal(one)

    def answers(self) -> dict[str, dict[str, dict[str, float]]] | None:
        """By locus and animal; None for what cannot all be true."""
        model = DiscreteBayesianNetwork(self.edges)
        model.add_nodes_from(self.cards)
        model.add_cpds(*self.tables)
        engine = VariableElimination(model)
        found: dict[str, dict[str, dict[str, float]]] = {}
        for locus, one in product(self.loci, self.members):
            unknowns = [f"{side}{one['id']}{locus['key']}" for side in "MP"]
            table = engine.query(unknowns, evidence=self.seen, show_progress=False)
            values = np.asarray(table.values)
            if list(table.variables) != unknowns:
                values = values.T
            if not np.isfinite(values).all():
                return None
            found.setdefault(locus["key"], {})[one["id"]] = _genotypes(values, locus)
        return found

    def _add(
        self, name: str, card: int, parents: Sequence[str], rule: Callable[..., Sequence[float]]
    ) -> None:
        cards = [self.cards[one] for one in parents]
        columns = [rule(*states) for states in product(*map(range, cards))]
        values = [[column[n] for column in columns] for n in range(card)]
        self.tables.append(TabularCPD(name, card, values, list(parents) or None, cards or None))
        self.cards[name] = card
        self.edges += [(one, name) for one in parents]

    def _animal(self, one: Mapping[str, Any]) -> None:
        key = one["id"]
        self.options = _options(one)
        self._add(f"O{key}", len(self.options), [], lambda: [p for _, _, p in self.options])
        founder = not one["sires"] and not one["dams"] and not one["alone"]
        groups = self._groups()
        for n, group in enumerate(groups):
            if one["alone"]:
                twice = one["alone"][1]
                self._add(f"D{key}g{n}", 3, [], lambda g=group, h=twice: self._doubling(g, h))
        if self.system:
            self._sex(one, founder, groups)
        for n, group in enumerate(groups):
            for place, locus in enumerate(group):
                before = group[place - 1]["key"] if place else None
                self._locus(one, locus, before, f"D{key}g{n}")

    def _groups(self) -> list[list[Mapping[str, Any]]]:
        found: list[list[Mapping[str, Any]]] = []
        for locus in self.loci:
            if locus["linked"] is not None:
                found[-1].append(locus)
            else:
                found.append([locus])
        return found

    def _doubling(self, group: Sequence[Mapping[str, Any]], twice: float) -> list[float]:
        """Which chromosome a young without a sire has twice. Of a ZW dam only Z may be."""
        if group[0]["system"] == "ZW":
            lives = 1 - twice / 2
            return [0.0, twice / 2 / lives, (1 - twice) / lives]
        return [twice / 2, twice / 2, 1 - twice]

    def _sex(
        self, one: Mapping[str, Any], founder: bool, groups: Sequence[Sequence[Mapping[str, Any]]]
    ) -> None:
        key = one["id"]
        if founder:
            self._add(f"S{key}", 2, [], lambda: [1 - one["male"], one["male"]])
            return
        options, parents = self.options, [f"O{key}"]
        if one["alone"]:
            at = next(n for n, group in enumerate(groups) if group[0]["system"])
            parents.append(f"D{key}g{at}")

        def rule(option: int, doubled: int = SAME) -> list[float]:
            if options[option][0] != "alone":
                return [0.5, 0.5]
            son = self.system == "ZW" and doubled != SAME
            return [float(not son), float(son)]

        self._add(f"S{key}", 2, parents, rule)
        self._observe(f"E{key}s", [f"S{key}"], lambda sex: one["male"] if sex else 1 - one["male"])

    def _observe(self, name: str, parents: Sequence[str], likelihood: Callable[..., float]) -> None:
        self._add(name, 2, parents, lambda *at: [1 - likelihood(*at), likelihood(*at)])
        self.seen[name] = 1

    def _locus(
        self, one: Mapping[str, Any], locus: Mapping[str, Any], before: str | None, doubled: str
    ) -> None:
        key, at = one["id"], locus["key"]
        options = self.options
        for role, side in (("dam", "M"), ("sire", "P")):
            gametes = self._gametes(one, locus, before, role)
            alone = [f"A{side}{key}{at}"] if one["alone"] else []
            if alone:
                self._alone(one, locus, side, doubled)
            place = {name: n for n, name in enumerate(gametes)}

            def rule(
                option: int, *states: int, role: str = role, place: Mapping[Any, int] = place
            ) -> list[float]:
                sire, dam, _ = options[option]
                chosen = dam if role == "dam" else sire
                taken = states[-1] if sire == "alone" else states[place[chosen]]
                return [float(n == taken) for n in range(self._card(locus))]

            parents = [f"O{key}", *gametes.values(), *alone]
            self._add(f"{side}{key}{at}", self._card(locus), parents, rule)
        if at in one["evidence"]:
            weights = one["evidence"][at]
            self._observe(
                f"E{key}{at}",
                [f"M{key}{at}", f"P{key}{at}"],
                lambda m, p: weights.get(_name(m, p, locus), 0.0),
            )

    def _card(self, locus: Mapping[str, Any]) -> int:
        return int(locus["alleles"]) + hemizygous(locus)

    def _unlike(self, locus: Mapping[str, Any], role: str) -> bool:
        """Whether parents of that role have two kinds of sex chromosome."""
        return locus["system"] is not None and (role == "sire") == (locus["system"] == "XY")

    def _gametes(
        self, one: Mapping[str, Any], locus: Mapping[str, Any], before: str | None, role: str
    ) -> dict[str | None, str]:
        """The gamete each candidate would have given, and an unknown animal."""
        key, at = one["id"], locus["key"]
        named = list(one["dams" if role == "dam" else "sires"])
        unlike, sexed = self._unlike(locus, role), locus["system"] is not None
        meiosis = f"T{role}{key}{at}"
        self._meiosis(key, locus, before, role, meiosis)
        sex = [f"S{key}"] if sexed else []
        found: dict[str | None, str] = {}
        for candidate in named:
            parents = [meiosis, f"M{candidate}{at}", f"P{candidate}{at}"]
            parents += [*sex, f"S{candidate}"] if sexed else []
            name = f"G{role}{key}{at}{candidate}"

            def rule(t: int, m: int, p: int, child: int = 0, parent: int = -1) -> list[float]:
                if parent >= 0 and parent != (MALE if role == "sire" else FEMALE):
                    return self._unknown(locus, role, child)
                return self._passed(locus, role, t, (m, p), child)

            self._add(name, self._card(locus), parents, rule)
            found[candidate] = name
        found[None] = f"G{role}{key}{at}"
        self._add(
            found[None],
            self._card(locus),
            sex if unlike else [],
            lambda child=0: self._unknown(locus, role, child),
        )
        return found

    def _meiosis(
        self, key: str, locus: Mapping[str, Any], before: str | None, role: str, name: str
    ) -> None:
        if before is not None:
            r = locus["linked"]
            self._add(name, 2, [f"T{role}{key}{before}"], lambda t: [r, 1 - r] if t else [1 - r, r])
        elif self._unlike(locus, role) and locus["to_sex"] is not None:
            r = locus["to_sex"]
            self._add(
                name,
                2,
                [f"S{key}"],
                lambda child: [r, 1 - r] if self._is_unlike(child) else [1 - r, r],
            )
        else:
            self._add(name, 2, [], lambda: [0.5, 0.5])

    def _is_unlike(self, sex: int) -> bool:
        return (sex == MALE) == (self.system == "XY")

    def _passed(
        self, locus: Mapping[str, Any], role: str, t: int, pair: tuple[int, int], child: int
    ) -> list[float]:
        """From the dam's or the sire's own two; of two kinds the like chromosome is the one from
        the parent that has two of it."""
        card = self._card(locus)
        if not self._unlike(locus, role):
            return [float(n == pair[t]) for n in range(card)]
        like, unlike = pair if role == "sire" else pair[::-1]
        if hemizygous(locus):
            taken = card - 1 if self._is_unlike(child) else like
        else:
            taken = unlike if t else like
        return [float(n == taken) for n in range(card)]

    def _unknown(self, locus: Mapping[str, Any], role: str, child: int) -> list[float]:
        shares = _frequencies(locus)
        if hemizygous(locus):
            if self._unlike(locus, role) and self._is_unlike(child):
                return [0.0] * len(shares) + [1.0]
            return [*shares, 0.0]
        return shares

    def _alone(
        self, one: Mapping[str, Any], locus: Mapping[str, Any], side: str, doubled: str
    ) -> None:
        """An allele of a young without a sire; the one "from the sire" follows the other."""
        key, at = one["id"], locus["key"]
        candidate, sexed = next(iter(one["dams"])), locus["system"] is not None
        parents = [f"O{key}", doubled, f"M{candidate}{at}", f"P{candidate}{at}"]
        parents += [f"AM{key}{at}"] if side == "P" else []
        parents += [f"S{candidate}"] if sexed else []
        options = self.options

        def rule(option: int, d: int, m: int, p: int, *rest: int) -> list[float]:
            card = self._card(locus)
            known = options[option][1] is not None and not (sexed and rest[-1] == MALE)
            if side == "P" and d != SAME:
                return [float(n == rest[0]) for n in range(card)]
            if side == "M" and d == SAME and locus["system"] == "ZW" and hemizygous(locus):
                return [float(n == card - 1) for n in range(card)]
            if not known:
                return [*_frequencies(locus), *([0.0] if hemizygous(locus) else [])]
            taken = p if d == DOUBLED_P or (side == "P" and d == SAME) else m
            return [float(n == taken) for n in range(card)]

        self._add(f"A{side}{key}{at}", self._card(locus), parents, rule)


def _options(one: Mapping[str, Any]) -> list[tuple[str | None, str | None, float]]:
    """(sire or "alone", dam, chance)."""
    chance = one["alone"][0] if one["alone"] else 0.0
    sires, dams = (
        [*parents.items(), (None, 1 - sum(parents.values()))]
        for parents in (one["sires"], one["dams"])
    )
    found = [(sire, dam, p * q * (1 - chance)) for (sire, p), (dam, q) in product(sires, dams)]
    if chance:
        found += [("alone", dam, q * chance) for dam, q in dams]
    return [(sire, dam, max(p, 0.0)) for sire, dam, p in found]


def _frequencies(locus: Mapping[str, Any]) -> list[float]:
    others = int(locus["alleles"]) - 1
    return [1 - others * locus["frequency"], *[locus["frequency"]] * others]


def _name(m: int, p: int, locus: Mapping[str, Any]) -> str:
    absent = int(locus["alleles"])
    return "/".join(map(str, sorted(one for one in (m, p) if one < absent)))


def _genotypes(values: Any, locus: Mapping[str, Any]) -> dict[str, float]:
    found: dict[str, float] = {}
    for (m, p), chance in np.ndenumerate(values):
        name = _name(m, p, locus)
        if name:
            found[name] = found.get(name, 0.0) + float(chance)
    return {name: float(f"{p:.12g}") for name, p in found.items() if p > 0}


if __name__ == "__main__":
    sys.exit(main())
