"""Who the cows of a film are: from an exit-order list, or from the film's name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gait.errors import ExchangeError

if TYPE_CHECKING:
    from gait.herd.which_cow import Matching
    from gait.store import Store


def name_by_exit_order(store: Store, clip_id: int, file: Path, *, who: str) -> Matching:
    """Name the cows of a clip from an exit-order list; doubtful matches are marked as such.

    Returns
    -------
    Matching
        Also the cows that were listed but not filmed.

    Raises
    ------
    ExchangeError
        Not one line of the list could be taken; the message names the first reason.
    """
    from gait.exchange.records_csv import read_exit_list
    from gait.herd.which_cow import PassTime, match_exit_order

    passes = [
        PassTime(pass_id=p.pass_id, at=p.observed_at)
        for p in sorted(store.passes.of_clip(clip_id), key=lambda p: (p.observed_at, p.pass_id))
    ]
    on = passes[0].at.date() if passes else None
    listed = read_exit_list(file.read_bytes(), store.cows.all(), on=on)
    if listed.rejected and not listed.entries:
        first = listed.rejected[0]
        raise ExchangeError(
            f"No line of the exit-order list can be used; line {first.line}: {first.why}",
            "Take in the herd list first, or mend the list. The passes are filed without names.",
        )
    matching = match_exit_order(listed.entries, passes)
    for match in matching.matches:
        store.identities.set(
            match.pass_id,
            match.cow,
            who=who,
            source="exit_order",
            doubtful=match.doubtful,
            candidates=match.candidates,
        )
    return matching


def name_by_file(
    store: Store,
    pass_ids: Sequence[int],
    name: str,
    *,
    who: str,
    written: str | None = None,
) -> None:
    """Name the cow after the file when it names one cow and shows one.

    A number that the herd list does not hold is not taken, but offered to people, however plainly
    the name spells it out: a slip in a name would put a cow on the herd list that is not there.

    Parameters
    ----------
    store : Store
    pass_ids : sequence of int
        All passes of the film.
    name : str
        The file's name.
    who : str
    written : str, optional
        The number that the file's name spells out as a cow's.
    """
    from gait.herd.named_files import cow_from_file_name, number_in_name

    if len(pass_ids) != 1:
        return
    cows = store.cows.all()
    known = cow_from_file_name(
        name,
        [c.number for c in cows],
        [(c.electronic, c.number) for c in cows if c.electronic],
    )
    offered = known.candidates or tuple(filter(None, [written or number_in_name(name)]))
    if offered:
        store.identities.set(
            pass_ids[0],
            known.cow,
            who=who,
            source="file_name",
            doubtful=known.cow is None,
            candidates=() if known.cow else offered,
        )


def offer_by_other_name(store: Store, clip_id: int, name: str, *, who: str) -> None:
    """Let another name of a film that is filed already tell the cow, where nobody has yet."""
    passes = store.passes.of_clip(clip_id)
    if all(p.cow is None and not p.identity_doubtful for p in passes):
        name_by_file(store, [p.pass_id for p in passes], name, who=who)
