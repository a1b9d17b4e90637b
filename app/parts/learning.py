"""The score model: what it rests on, what it learnt, and going back."""

from __future__ import annotations

import streamlit as st

from app import session
from app.parts import charts, look
from app.texts import said, t
from gait.errors import GaitError
from gait.farm import calibration_of, learn_from_herd, model_in_use, models_of, use_model
from gait.overview import PAIRS_NEEDED


def not_validated() -> None:
    """Say that the model is not validated on scored cows, until it has learnt from this herd."""
    if model_in_use(session.store()).kind == "published":
        st.caption(f":material/info: {t('model.not_validated')}")


def show() -> None:
    """Show versions, calibration and learning."""
    store = session.store()
    lines = models_of(store)
    used = next(line for line in lines if line.in_use)
    if used.kind == "published":
        st.warning(t("model.not_validated"))
    st.markdown(f"**{t('model.in_use')}** {look.literal(used.version)}")
    st.caption(look.literal(said(used.notes.get("statement", ""))))
    _calibration()
    if not session.allowed("rules"):
        return
    if st.button(t("model.learn"), key="learn"):
        try:
            lesson = learn_from_herd(store, who=session.who())
        except GaitError as problem:
            session.show(problem)
            return
        st.info(said(lesson.sentence))
    others = [line.version for line in lines if not line.in_use]
    if others:
        chosen = st.selectbox(t("model.other"), others, index=None, key="model_choice",
                              placeholder=t("app.choose"))  # fmt: skip
        if chosen and st.button(t("model.use"), key="model_use"):
            use_model(store, chosen, who=session.who())
            st.rerun()


def _calibration() -> None:
    found = calibration_of(session.store())
    if found is None:
        st.caption(t("model.no_calibration"))
        return
    if found.cows < PAIRS_NEEDED:
        st.caption(t("model.too_few", scored=found.cows, needed=PAIRS_NEEDED))
        return
    bins = [(b.stated, b.found, b.cows) for b in found.bins]
    st.altair_chart(charts.reliability(bins), width="stretch")
    st.caption(t("model.calibration", error=round(100 * found.expected_error), cows=found.cows,
                 coverage=round(100 * found.coverage)))  # fmt: skip
