"""What is said wherever a check is planned, logged or relied on.

Nothing here replaces an experienced hand. Lubricating, and the largest blunt probe that
fits: Barker & Barker, "Determining the sex of snakes". The rest is common practice, no
source.
"""

from typing import Final

BEFORE_A_CHECK: Final = (
    "Never push. Let the probe glide and stop at resistance.",
    "Lubricate, and choose the probe for the size of the animal; too thin a probe misleads "
    "and pierces.",
    "Probe both sides and note each by itself.",
    "Not soon after a meal, in shed, when gravid, ill or too small.",
    "Have a second person hold a large or tense animal.",
    "Clean and disinfect hands and instruments between animals.",
    "Bleeding, swelling or prolapse: stop, and see a veterinarian for reptiles.",
    "Unsure or unsteady: leave it to an experienced keeper or a veterinarian.",
    "Local wildlife, welfare and consumer law come before anything said here.",
)
"""For whoever is about to examine an animal."""

BEFORE_A_PURCHASE: Final = (
    "A sex on record is a probability with reasons, never a certainty.",
    "Use the agreed days for a recheck by someone independent: an experienced keeper or a "
    "veterinarian for reptiles.",
    "Do not probe or pop a snake yourself if you have not learnt it from someone who can.",
    "Compare the transponder or tag with what is written here before you pay.",
    "Local wildlife, welfare and consumer law come before anything agreed here.",
)
"""For whoever is about to rely on a recorded sex."""

AFTER_A_DISCLOSURE: Final = (
    "Have the animal rechecked by someone independent: an experienced keeper or a "
    "veterinarian for reptiles.",
    "Read its transponder or tag first, so that it is certain which animal was checked.",
    "Tell the seller what was found; the remedy you agreed on is stated here.",
    "If you have passed the animal on, tell whoever holds it now.",
)
"""For whoever relied on a verified sex that no longer stands."""
