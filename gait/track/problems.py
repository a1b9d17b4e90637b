"""What can be wrong with a pass or a clip, as sentences with what to do next."""

from __future__ import annotations

NO_COW = (
    "No cow was found in it. Film from the side, with the whole cow in the picture, "
    "four to eight metres away."
)
STANDS = "She stands still. Let her walk past the camera for at least three strides."
STOPS = "She stops on the way ({seconds:.0f} s); only her walking is measured."
TURNS = "She turns round before she has passed. Film her again walking straight on."
TURNS_LATER = "She turns round at the end of this pass; only her walk up to there is measured."
BACKWARDS = "She walks backwards. Film her again walking forwards."
OVERLAP = (
    "Two cows overlap all the way, so their legs cannot be told apart. Let the cows pass one by "
    "one, or look at them yourself."
)
PART_OVERLAP = "Another cow covers her for part of the way ({share:.0%} of the frames)."
HEAD_ON = "She is seen from the front or behind. Film from the side, square to the lane."
NO_COW_PERHAPS = (
    "This may be a dog, a horse or another animal. If it is a cow, film her again from the side "
    "with nothing before her, or look at her yourself."
)
DARK = "The picture is too dark to see her well. Film with the lane lights on."
BLURRED = (
    "The picture is blurred, so the measures are less sure. Clean and focus the lens, or film in "
    "more light."
)
FROZEN = "The picture froze for {frames} frames while she passed; the film may be damaged."
SEVERAL = "{count} cows are in the photo; the largest was measured."
