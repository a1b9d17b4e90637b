"""Work off the queue of films, one after another, in a process of its own.

    python -m gait.worker FARM_FOLDER

The page starts it and looks at the queue; a crash loses nothing, since the next worker takes the
job up again. It ends when nothing has waited for a while.
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from gait.bulk import unexpected
from gait.errors import ClipUnusable, GaitError, StoreError
from gait.intake import JOB_KIND, filmed_of, incoming_file

if TYPE_CHECKING:
    from gait.herd.records import Job
    from gait.store import Store

IDLE_S = 20.0
NAP_S = 0.5
BEAT_S = 2.0


def work(farm: str | Path, *, idle_s: float = IDLE_S, name: str = "") -> int:
    """Work until nothing has waited for `idle_s` seconds.

    Parameters
    ----------
    farm : str or Path
        Farm folder.
    idle_s : float
        How long to wait for more, s.
    name : str
        The worker's name; its process number if not given.

    Returns
    -------
    int
        Jobs done or refused.
    """
    from gait.keeping import drop_old_clips
    from gait.store import open_store

    worker = name or f"worker-{os.getpid()}"
    done, quiet_since = 0, time.monotonic()
    with open_store(farm) as store:
        tidy(store)
        while time.monotonic() - quiet_since < idle_s:
            try:
                job = store.jobs.claim(worker)
                if job is not None:
                    do(store, job, worker)
                    drop_old_clips(store)
            except StoreError:  # locked or full: what was under way is taken up again later
                store.try_writing_again()
                job = None
            if job is None:
                time.sleep(NAP_S)
                continue
            tidy(store)
            done, quiet_since = done + 1, time.monotonic()
    return done


def tidy(store: Store) -> None:
    """Delete films that are past the time the farm keeps them; never in the way of the work."""
    from gait.keeping import drop_old_clips

    with contextlib.suppress(StoreError):
        drop_old_clips(store)


def do(store: Store, job: Job, worker: str) -> None:
    """Score and file one clip; a refusal is written down with its sentence."""
    if job.kind != JOB_KIND:
        store.jobs.failed(job.job_id, "This program does not know such work.", worker=worker)
        return
    path = incoming_file(store, str(job.payload["file"]))
    try:
        pass_ids = _score_and_file(store, job, path, worker)
    except GaitError as refusal:
        store.jobs.failed(job.job_id, _named(str(refusal), path, job), worker=worker)
        return
    except OSError as trouble:
        sentence = f"The file could not be read ({trouble.strerror or trouble}). Drop it in again."
        store.jobs.failed(job.job_id, sentence, worker=worker)
        return
    except Exception as fault:  # one film must not stop the queue, nor may it wait for ever
        sentence = _named(str(unexpected(path, fault)), path, job)
        store.jobs.failed(job.job_id, sentence, worker=worker)
        return
    if store.jobs.done(job.job_id, {"passes": list(pass_ids)}, worker=worker):
        path.unlink(missing_ok=True)


def _named(sentence: str, path: Path, job: Job) -> str:
    """Return the sentence with the name people know the film by, not that of its copy here."""
    name = str(job.payload["name"])
    return sentence.replace(str(path), name).replace(path.name, name)


def _score_and_file(store: Store, job: Job, path: Path, worker: str) -> tuple[int, ...]:
    from gait.farm import model_in_use
    from gait.filing import file_report
    from gait.pipeline import score_clip
    from gait.pose import CowNetwork

    last = [0.0]

    def tell(share: float) -> None:
        if time.monotonic() - last[0] < BEAT_S:
            return
        last[0] = time.monotonic()
        if not store.jobs.progress(job.job_id, 0.9 * share, "Watching", worker=worker):
            raise StoreError("Another worker has taken this film over.", "")

    name = str(job.payload["name"])
    with CowNetwork() as network:
        report = score_clip(path, network, model_in_use(store), on_progress=tell, name=name)
    if not report.passes:
        raise ClipUnusable(" ".join(report.problems))
    store.jobs.progress(job.job_id, 0.92, "Filing", worker=worker)
    who, filmed = str(job.payload["who"]), filmed_of(job)
    filed = file_report(store, report, who=who, name=name, filmed_at=filmed)
    return tuple(filed.pass_ids)


if __name__ == "__main__":
    raise SystemExit(0 if work(sys.argv[1]) >= 0 else 1)
