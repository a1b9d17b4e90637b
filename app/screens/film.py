"""Drop in films and photos, watch the queue work them off."""

from __future__ import annotations

import time
from datetime import datetime
from pathlib import Path

import streamlit as st

from app import session
from app.parts import look
from app.texts import day_box, said, t
from gait.errors import GaitError
from gait.herd.records import Clip, Job
from gait.intake import (
    TakenIn,
    date_films,
    filmed_of,
    refuse_no_film,
    take_in,
    take_in_folder,
)
from gait.kinds import FILM_SUFFIXES, PHOTO_SUFFIXES

WATCHED = "watched_folder"
NEWEST = 20  # so many films are listed
STEPS = {"": "film.waiting", "Watching": "film.watching", "Filing": "film.filing"}
# What the worker says it is doing, as people read it.
TAKEN = {
    "undated": "film.undated",
    "waiting": "film.taken",
    "running": "film.in_work",
    "done": "film.watched_now",
    "failed": "film.refused",
    "put_away": "film.put_away",
}
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
                refuse_no_film(file, file.name)
                taken[file.file_id] = take_in(session.store(), file, file.name, who=session.who())
            except GaitError as problem:
                session.show(problem)
                continue
            session.wake_worker()
        st.markdown(how_it_stands(taken[file.file_id], look.literal(file.name)))


def how_it_stands(taken: TakenIn, name: str) -> str:
    """Return the line that tells how a dropped film stands now, and when it was filmed."""
    job = session.store().jobs.get(taken.job.job_id)
    if taken.same_as:
        return t("film.same", name=name, other=look.literal(taken.same_as))
    if job is None or not taken.is_new:
        return t("film.known", name=name)
    filmed = filmed_of(job)
    when = t("film.filmed", when=look.clock(filmed)) if filmed else ""
    return f"{t(TAKEN[job.state], name=name)} {when}"


def ask_when() -> None:
    """Ask once, for all films that do not tell it themselves, when they were filmed."""
    undated = session.store().jobs.all(state="undated")
    if not undated:
        return
    newest = undated[0].job_id
    with st.container(border=True):
        names = ", ".join(str(job.payload.get("name", "")) for job in undated)
        st.markdown(f"**{t('film.when')}** {look.literal(names)}")
        with st.container(horizontal=True, vertical_alignment="bottom"):
            day = st.date_input(t("film.day"), max_value="today", format=day_box(),
                                key=f"filmed_day_{newest}")  # fmt: skip
            hour = st.time_input(t("film.time"), value=None, key=f"filmed_time_{newest}", step=300)
        if st.button(t("film.watch", count=len(undated)), key="filmed_keep", type="primary"):
            if hour is None:
                st.warning(t("film.say_time"))
                return
            try:
                date_films(session.store(), undated, datetime.combine(day, hour).astimezone())
            except GaitError as problem:
                session.show(problem)
                return
            session.wake_worker()
            st.rerun()


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
            over_line(clip.name, len(session.store().passes.of_clip(clip.clip_id)), clip)


def line(job: Job) -> None:
    """Show one film of the queue."""
    name = look.literal(job.payload.get("name", ""))
    if job.state == "failed":
        told = said(job.message).removeprefix(f"{job.payload.get('name', '')} ")  # not twice
        st.error(f"**{name}** {look.literal(told)}")
        waits_for_people(job)
    elif job.state == "undated":
        st.markdown(t("film.undated", name=f"**{name}**"))
        waits_for_people(job)
    elif job.state == "done":
        count = len((job.result or {}).get("passes", []))
        over_line(job.payload.get("name", ""), count, session.store().clips.by_sha256(job.key))
    else:
        step = STEPS.get(job.message)
        st.progress(job.progress, text=f"{name}: {t(step) if step else job.message}")


def waits_for_people(job: Job) -> None:
    """Offer what can be done about a film that could not be used, or that has no date."""
    if not session.allowed("identify"):
        return
    with st.container(horizontal=True):
        if job.state == "failed" and st.button(t("film.again"), key=f"again_{job.job_id}"):
            session.store().jobs.again(job.job_id)
            session.wake_worker()
        told = t("film.take_off_help")
        if st.button(t("film.take_off"), key=f"put_away_{job.job_id}", help=told):
            session.store().jobs.put_away(job.job_id, who=session.who())
            st.rerun()


def over_line(name: str, count: int, clip: Clip | None) -> None:
    """Show a film that has been watched, and how many cows walked past in it; or a photo."""
    passed = t("film.done", count=count) if count else t("film.done_none")
    if clip is not None and clip.info.get("is_photo"):
        passed = t("film.photo")
    st.markdown(f"**{look.literal(name)}** {passed}")
    if count:
        st.page_link("screens/to_check.py", label=t("film.check_now"))


st.title(t("film.title"))
st.write(t("film.how"))
left, right = st.columns([3, 2])
with left:
    if session.guarded("identify"):
        drop()
        ask_when()
with right, st.expander(t("film.tips"), expanded=False):
    st.markdown(t("film.tips_text"))
watched()
st.subheader(t("film.queue"))
queue()
