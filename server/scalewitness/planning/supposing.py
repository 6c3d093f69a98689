"""What the standing would be if a call were made now. Nothing is recorded."""

from collections.abc import Callable, Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.queries import condition, identifiers_of, is_steward
from scalewitness.calls.queries.bearing import known_elsewhere
from scalewitness.domain.observations import Conclusion, Method, Observation, Sureness
from scalewitness.domain.sexing import labels
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.kept import Before
from scalewitness.domain.sexing.linkage_words import with_linkage
from scalewitness.domain.sexing.standing import Assessment
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.sexing.what_if import SUPPOSED, SupposedCall, WhatIf, what_if
from scalewitness.planning.candidates import identity_of, stage_on
from scalewitness.standings.queries.assessing import kept_after
from scalewitness.standings.queries.basis import StandingBasis, basis_of
from scalewitness.standings.queries.logged import stated_as


class SupposedAnswer(Struct, frozen=True):
    """A call nobody has made. ``blind``: its examiner knew no earlier answer. ``mine``: the
    asker's own, so never blind. ``confirmed``: whoever is quoted confirms it, where the asker
    would report it. ``observed`` None: what the method usually shows."""

    method: Method
    conclusion: Conclusion
    role: Role = "keeper"
    blind: bool = True
    mine: bool = False
    confirmed: bool = False
    sureness: Sureness = "certain"
    observed: Observation | None = None


class Occasion(Struct, frozen=True):
    """What a call made now would meet. ``steward``: whoever asks holds the animal;
    ``elsewhere``: its number is another record's; ``grams``: what it weighed last."""

    steward: bool
    elsewhere: bool
    grams: Decimal | None
    identifiers: Sequence[Identifier]


def suppose(animal: Animal, call: SupposedAnswer, asker: UUID, now: datetime) -> WhatIf:
    """The standing as it is and as it would be, by what is in force now; a code of the
    animal's is supposed to be read if it has one. Raises NoSuchFinding."""
    return supposing(basis_of(animal), occasion_of(animal, asker, now), asker, now)(call)


def occasion_of(animal: Animal, asker: UUID, now: datetime) -> Occasion:
    return Occasion(
        steward=is_steward(asker, animal.collection, now),
        elsewhere=bool(known_elsewhere([animal.pk])),
        grams=condition(animal.pk).grams,
        identifiers=identifiers_of([animal.pk]).get(animal.pk, []),
    )


def supposing(
    known: StandingBasis, occasion: Occasion, asker: UUID, now: datetime
) -> Callable[[SupposedAnswer], WhatIf]:
    """As :func:`suppose`, for several calls each by itself, of what was read already."""
    animal, by, evidence = known.animal, known.rule, known.evidence
    stated = stated_as(known.standing) if known.standing else Before()
    kind, start = taxon(animal.species, by.parameters), known.start(by.numbers)
    stage = stage_on(animal, kind, occasion.grams, now)
    identity = identity_of(occasion.identifiers)
    elsewhere_made = {str(one.pk) for one in known.counting if one.animal_id != animal.pk}

    def elsewhere(one: Assessment) -> Assessment:
        return labels.known_elsewhere(one) if occasion.elsewhere else one

    def ask(call: SupposedAnswer) -> WhatIf:
        # A call of someone who is no keeper here is reported, and whoever asks would report it.
        reported = call.role != "keeper" and not call.mine
        found = what_if(
            evidence,
            SupposedCall(
                method=call.method,
                conclusion=call.conclusion,
                role="keeper" if call.mine else call.role,
                blind=call.blind and not call.mine,
                observed=call.observed,
                examiner=str(asker) if call.mine else SUPPOSED,
                sureness=call.sureness,
                stage=stage,
                identity=identity,
                interested=(call.mine or reported) and occasion.steward,
                reported=reported,
                confirmed=call.confirmed,
                at=round(now.timestamp() * 1000),
            ),
            kind,
            by.records,
            by.policy,
            by.numbers,
            start.male,
            start.pessimistic,
            lambda one, made: elsewhere(kept_after(stated, one, by, animal.species, made, start)),
        )
        lines = tuple(one for one in found.lines if one.call not in elsewhere_made)
        return replace(found, lines=with_linkage(lines, start))

    return ask
