"""The farm, its people, rules of the lists, herd list, films and backup."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app import remembering, session
from app.parts import exports, herd_import, look, rules_form
from app.parts import people as people_parts
from app.texts import t
from gait import blur, keeping
from gait.errors import GaitError
from gait.exchange.backup import write_backup
from gait.herd.people import ROLES
from gait.herd.records import Person
from gait.trim_day import FARM_NAME_SETTING

WATCHED = "watched_folder"
ALWAYS = -1
RESTORE = (
    ".venv/bin/exitlane restore exitlane_backup.zip --farm restored_farm\n"
    "python3 -m app --page-only --farm restored_farm"
)
KEEP = (ALWAYS, 0, 30, 90, 180, 365, 730)


def farm() -> None:
    """Name of the farm, as it stands on sheets."""
    store = session.store()
    if not session.guarded("rules"):
        return
    name = st.text_input(
        t("settings.farm_name"), value=store.settings.get(FARM_NAME_SETTING, ""), key="farm_name"
    )
    if st.button(t("settings.keep"), key="farm_keep", type="primary"):
        kept(lambda: store.settings.put(FARM_NAME_SETTING, name.strip(), who=session.who()))


def kept(keep: object) -> None:
    """Do it, and say that it is kept or why not."""
    try:
        keep()  # type: ignore[operator]
    except GaitError as problem:
        session.show(problem)
        return
    st.session_state["settings_said"] = t("settings.kept")
    st.rerun()


def people() -> None:
    """People with their roles and PIN."""
    store = session.store()
    st.write(t("settings.people_text"))
    everybody = store.people.all()
    for person in everybody:
        pin = t("settings.has_pin" if person.has_pin else "settings.no_pin")
        roles = people_parts.roles_text(person.roles)
        st.markdown(f"**{look.literal(person.name)}** · {roles} · {pin}")
    if session.oidc_set_up():
        st.caption(t("settings.outside_hint"))
    if not session.guarded("people"):
        return
    names = [p.name for p in everybody]
    chosen = st.selectbox(t("settings.person"), [t("settings.new_person"), *names],
                          key="person_edit")  # fmt: skip
    known = next((p for p in everybody if p.name == chosen), None)
    with st.form(f"person_{chosen}", clear_on_submit=True):
        name = known.name if known else st.text_input(t("person.name"), key="person_name")
        roles_chosen = st.pills(
            t("settings.roles"), ROLES, selection_mode="multi",
            default=known.roles if known else ("manager",) if not everybody else None,
            format_func=lambda r: t(f"role.{r}"), key=f"person_roles_{chosen}",
        )  # fmt: skip
        pin = st.text_input(t("settings.new_pin"), type="password", key=f"person_pin_{chosen}",
                            help=t("settings.pin_help"))  # fmt: skip
        active = True
        if known:
            active = not st.checkbox(t("settings.left"), key=f"person_left_{chosen}")
        if st.form_submit_button(t("settings.keep"), type="primary"):
            keep_person(known, name, list(roles_chosen), pin, active=active)


def keep_person(
    known: Person | None, name: str, roles: list[str], pin: str, *, active: bool
) -> None:
    """Keep a person, unless that would leave nobody who may set up people."""
    store = session.store()
    others = [p for p in store.people.all() if known is None or p.name != known.name]
    managers = [p for p in others if "manager" in p.roles]
    if not managers and ("manager" not in roles or not active):
        st.warning(t("settings.one_manager"))
        return
    if known is None and any(p.name == name.strip() for p in others):
        st.warning(t("settings.name_taken"))
        return

    def keep() -> None:
        store.people.put(name, roles, pin=pin or None, active=active)
        if pin:
            remembering.forget_everywhere(name.strip())
        if not others and known is None:
            session.work_as(name.strip())

    kept(keep)


def films() -> None:
    """Watched folder and how long films are kept."""
    store = session.store()
    if not session.guarded("rules"):
        return
    folder = st.text_input(
        t("settings.watched"), value=store.settings.get(WATCHED, ""), key="watched_folder",
        help=t("settings.watched_help"),
    )  # fmt: skip
    if folder.strip() and not Path(folder.strip()).is_dir():
        st.warning(t("film.watched_missing", folder=folder))
    keep = kept_for("clips", keeping.KEEP_DAYS_SETTING)
    keep_review = kept_for("review", keeping.KEEP_REVIEW_DAYS_SETTING)
    st.caption(t("settings.keep_text"))
    hide = st.toggle(t("settings.blur"), value=bool(store.settings.get(blur.SETTING)), key="blur",
                     help=t("settings.blur_text"))  # fmt: skip
    if st.button(t("settings.keep"), key="films_keep", type="primary"):

        def put() -> None:
            for name, value in (
                (WATCHED, folder.strip()),
                (keeping.KEEP_DAYS_SETTING, keep),
                (keeping.KEEP_REVIEW_DAYS_SETTING, keep_review),
                (blur.SETTING, hide),
            ):
                if store.settings.get(name) != value:
                    store.settings.put(name, value, who=session.who())

        kept(put)
    old = keeping.old_clips(store)
    if old.files and st.button(
        t("settings.drop_now", count=old.files, size=f"{old.size / 1e6:.0f}"), key="drop_now"
    ):
        kept(lambda: keeping.drop_old_clips(store))


def kept_for(what: str, setting: str) -> int | None:
    """Ask for how long something is kept; return days, None for always."""
    days = keeping.keep_days(session.store(), setting)
    known = ALWAYS if days is None else days
    options = KEEP if known in KEEP else (*KEEP, known)
    names = {ALWAYS: t("settings.keep_always"), 0: t("settings.keep_not")}
    chosen = st.selectbox(
        t(f"settings.keep_{what}"), options, index=options.index(known), key=f"keep_{what}",
        format_func=lambda d: names.get(d) or t("settings.keep_days", days=d),
    )  # fmt: skip
    return None if chosen == ALWAYS else int(chosen)


def backup() -> None:
    """Write a backup into the farm folder's side and offer it for download."""
    if not session.guarded("backup"):
        return
    st.write(t("settings.backup_text"))
    with_clips = st.checkbox(t("settings.backup_clips"), key="backup_clips")
    path = session.folder() / "backup" / "exitlane_backup.zip"
    if st.button(t("settings.backup_make"), key="backup_make", type="primary"):
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with st.spinner(t("settings.backup_wait")):
                made = write_backup(session.store(), path, with_clips=with_clips)
        except GaitError as problem:
            session.show(problem)
            return
        except OSError as trouble:
            st.error(t("settings.backup_failed", why=trouble.strerror or ""))
            return
        st.success(t("settings.backup_made", rows=sum(made.rows.values()), clips=made.clips))
        for name in made.missing_clips:
            st.caption(t("settings.backup_missing", name=look.literal(name)))
        st.session_state["backup_ready"] = True
    if st.session_state.get("backup_ready") and path.is_file():
        with path.open("rb") as file:
            st.download_button(t("settings.backup_get"), file, file_name=path.name,
                               mime="application/zip", key="backup_get",
                               on_click="ignore")  # fmt: skip
    with st.expander(t("settings.restore")):
        st.write(t("settings.restore_text"))
        st.code(RESTORE, language=None)
        st.caption(t("settings.restore_windows"))


st.title(t("settings.title"))
said = st.session_state.pop("settings_said", None)
if said:
    st.success(said)
SECTIONS = {
    "herd": herd_import.show,
    "people": people,
    "farm": farm,
    "rules": rules_form.show,
    "films": films,
    "backup": backup,
    "export": exports.show,
}
section = st.segmented_control(
    t("settings.section"), list(SECTIONS), default="herd", required=True,
    format_func=lambda s: t(f"settings.{s}"), key="settings_section",
    label_visibility="collapsed",
)  # fmt: skip
st.subheader(t(f"settings.{section}"))
SECTIONS[section]()
