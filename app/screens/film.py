"""Drop in films and photos, watch the queue work them off."""

from __future__ import annotations

import time
from pathlib import Path

import streamlit as st

from app import session
from app.parts import look
from app.texts import said, t
from gait.errors import GaitError
from gait.herd.records import Job
from gait.intake import TakenIn, take_in, take_in_folder
from gait.kinds import FILM_SUFFIXES, PHOTO_SUFFIXES

WATCHED = "watched_folder"
NEWEST = 20  # so many films are listed
STEPS = {"": "film.waiting", "Watching": "film.watching", "Filing": "film.filing"}
# What the worker says it is doing, as people read it.
TAKEN = {
    "waiting": "film.taken", "running": "film.in_work", "done": "film.watched_now",
    "failed": "film.refused", "put_away": "film.put_away",
}  # fmt: skip
KINDS = sorted(s[1:] for s in FILM_SUFFIXES | PHOTO_SUFFIXES)


def drop() -> None:
    """Take dropped files in; each is kept on disk before anything else happens."""
    files = st.file_uploader(
        t("film.drop"), type=KINDS, accept_multiple_files=True, key="film_files"
    )
    taken: dict[str, TakenIn] = st.session_state.setdefault("films_taken", {})
    for file in files or []:
        if file.file_id not in taken:
            try:
                taken[file.file_id] = take_in(session.store(), file, file.name, who=session.who())
            except GaitError as problem:
                session.show(problem)
                continue
            session.wake_worker()
        st.markdown(t(how_it_stands(taken[file.file_id]), name=look.literal(file.name)))


def how_it_stands(taken: TakenIn) -> str:
    """Return the key of the text that tells how a dropped film stands now."""
    job = session.store().jobs.get(taken.job.job_id)
    return TAKEN[job.state] if taken.is_new and job else "film.known"


def watched() -> None:
    """Look into the watched folder, when one is set."""
    name = session.store().settings.get(WATCHED, "")
    if not name:
        st.caption(t("film.no_watched"))
        return
    folder = Path(name)
    if not folder.is_dir():
        st.warning(t("film.watched_missing", folder=name))
        return
    st.caption(t("film.watched", folder=name))
    if st.button(t("film.look_now"), key="look_now"):
        try:
            found = take_in_folder(session.store(), folder, who=session.who(), now_s=time.time())
        except GaitError as problem:
            session.show(problem)
            return
        st.toast(t("film.found", count=sum(f.is_new for f in found)))
        session.wake_worker()


@st.fragment(run_every=2.0)
def queue() -> None:
    """Show every film with its progress, newest first, then those scored outside the page."""
    jobs = session.store().jobs.all(limit=NEWEST)
    elsewhere = session.store().clips.without_job(limit=NEWEST)
    if any(job.state in ("waiting", "running") for job in jobs):
        session.wake_worker()
    states = [job.state for job in jobs]
    if st.session_state.setdefault("film_states", states) != states:
        st.session_state["film_states"] = states
        st.rerun()  # the whole page: what waits in the menu, how dropped films stand
    if not jobs and not elsewhere:
        st.info(t("film.empty"))
    for job in jobs:
        with st.container(border=True):
            line(job)
    for clip in elsewhere:
        with st.container(border=True):
            over_line(clip.name, len(session.store().passes.of_clip(clip.clip_id)))


def line(job: Job) -> None:
    """Show one film of the queue."""
    name = look.literal(job.payload.get("name", ""))
    if job.state == "failed":
        told = said(job.message).removeprefix(f"{job.payload.get('name', '')} ")  # not twice
        st.error(f"**{name}** {look.literal(told)}")
        failed(job)
    elif job.state == "done":
        over_line(job.payload.get("name", ""), len((job.result or {}).get("passes", [])))
    else:
        step = STEPS.get(job.message)
        st.progress(job.progress, text=f"{name}: {t(step) if step else job.message}")


def failed(job: Job) -> None:
    """Offer what can be done about a film that could not be used."""
    if not session.allowed("identify"):
        return
    with st.container(horizontal=True):
        if st.button(t("film.again"), key=f"again_{job.job_id}"):
            session.store().jobs.again(job.job_id)
            session.wake_worker()
        if st.button(
            t("film.take_off"), key=f"put_away_{job.job_id}", help=t("film.take_off_help")
        ):
            session.store().jobs.put_away(job.job_id, who=session.who())
            st.rerun()


def over_line(name: str, count: int) -> None:
    """Show a film that has been watched, and how many cows walked past in it."""
    passed = t("film.done", count=count) if count else t("film.done_none")
    st.markdown(f"**{look.literal(name)}** {passed}")
    if count:
        st.page_link("screens/to_check.py", label=t("film.check_now"))


st.title(t("film.title"))
st.write(t("film.how"))
left, right = st.columns([3, 2])
with left:
    if session.guarded("identify"):
        drop()
with right, st.expander(t("film.tips"), expanded=False):
    st.markdown(t("film.tips_text"))
watched()
st.subheader(t("film.queue"))
queue()
