"""The functional trim in our own words, and the cautions that go with every trim sheet.

What the steps say is common practice without a published source; where figures have been
published they stand beside it with their source.
"""

from __future__ import annotations

from dataclasses import dataclass

from gait.exchange.foot_drawing import GuideStep

TITLE = "Functional trim: a reminder, not a course"
SOURCE_LINE = (
    "The steps are common practice, no published source. Figures with a name and year are "
    "published."
)


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step: heading, what to do, and which picture goes with it."""

    heading: str
    text: str
    picture: GuideStep | None = None


STEPS: tuple[Step, ...] = (
    Step(
        heading="1. Begin with the right claw",
        text="Hind feet: the inner claw first, because it is the sounder one and sets the "
        "measure. Front feet: the outer claw first.",
    ),
    Step(
        heading="2. Toe length",
        text="Measure along the front wall, from where the horn becomes hard below the coronet. "
        "A claw of 83 mm (3 1/4 in) or less, average Holstein, is not shortened. Published: "
        "half of the claws measured needed more than 83 mm, 90 mm covers 96 % of them "
        "(Archer 2015); at 72 mm only 5 mm of sole are left, at 78 to 80 mm 7 mm (Tsuka 2014).",
        picture="length",
    ),
    Step(
        heading="3. Sole thickness",
        text="Leave about 6.4 mm (1/4 in) of sole at the toe. Stop when the sole gives under the "
        "thumb or looks pink: it is too thin already. Published: under 5 mm is too thin "
        "(van Amstel 2003), 7 mm is recommended (Tsuka 2014). Spare the heel of the inner hind "
        "claw.",
        picture="sole",
    ),
    Step(
        heading="4. Balance",
        text="Bring the second claw to the same length and height, so that both stand level and "
        "square to the leg. Where that would thin the sole of the second claw, stop earlier.",
        picture="balance",
    ),
    Step(
        heading="5. Modelling",
        text="Hollow the sole out beside the gap, in the middle of its length, so that dung does "
        "not stick and the typical place of ulcers carries less. Leave the walls and the toe "
        "as they are.",
        picture="modelling",
    ),
    Step(
        heading="6. Look for lesions",
        text="Search white line, sole, heel and the skin between the claws. Note every finding on "
        "the sheet, and where it is. Look at both hind feet of every lame cow.",
    ),
    Step(
        heading="7. Loose horn last",
        text="Take loose horn off and relieve sore places; a block goes on the sound claw. Blood, "
        "swelling above the claw, a foul smell or a dead toe: stop and call the vet.",
    ),
)

CAUTIONS: tuple[str, ...] = (
    "Hold the cow safely in a chute or crush before a foot is lifted; never work alone on a "
    "restless cow.",
    "Wear gloves, and protect eyes and ears when a grinder runs.",
    "Measure before you cut. Too much horn taken off lames sound cows. Where guides and studies "
    "disagree (75 mm, Toussaint Raven 1985, is still taught; half of the claws needed more than "
    "83 mm, Archer 2015), keep to the longer measure.",
    "Medicines and their withdrawal times only from the label or the vet, written down as they "
    "stand there.",
    "A cow that does not put the foot down goes to the vet and is not made to walk far.",
    "Clean and disinfect knives and chute between herds and after infectious findings.",
)
