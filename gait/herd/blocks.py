"""Blocks: a block goes on the sound claw of a foot, to take the weight off the sore one."""

from __future__ import annotations

from collections.abc import Sequence

from gait.herd.records import Finding

OTHER_CLAW: dict[str, str] = {"inner": "outer", "outer": "inner"}


def wrong_block(finding: Finding) -> list[str]:
    """Return what is wrong with the block of a finding, as sentences."""
    if not finding.block:
        claw = finding.block_claw
        return [] if claw is None else ["The claw of a block goes with a block only."]
    # Older records have one claw for finding and block.
    if (finding.block_claw or finding.claw) not in OTHER_CLAW:
        return ["A block goes on one claw, the sound one: say which."]
    return blocks_on_sore_claws([finding])


def blocks_on_sore_claws(findings: Sequence[Finding]) -> list[str]:
    """Return the sentence for a block on the sore claw of a foot whose other claw is not sore.

    Where both claws of a foot are sore, the block goes on the sounder one: that is left to people.
    """
    # with a claw of its own for the block, the finding's is the sore one, named or not
    sore = {(f.foot, f.claw) for f in findings if f.code or f.zone or f.block_claw}
    blocked = {(f.foot, f.block_claw) for f in findings if f.block_claw in OTHER_CLAW}
    odd = [(foot, c) for foot, c in blocked & sore if (foot, OTHER_CLAW[c]) not in sore]
    return ["The block is on the sore claw: it goes on the sound one of that foot."] if odd else []


def blocked_claw(finding: Finding) -> str | None:
    """Return which claw carries the block, as far as somebody said.

    In older records, with one claw for both, it is the finding's where no lesion is named.
    """
    if not finding.block or finding.block_claw:
        return finding.block_claw
    names_lesion = finding.code or finding.zone
    return finding.claw if finding.claw in OTHER_CLAW and not names_lesion else None
