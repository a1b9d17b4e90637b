"""Streamlit pages over the library. They compute nothing."""
