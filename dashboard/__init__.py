"""The dashboard: a Streamlit app that asks `pipeline.fleet.frames` what to say and draws it."""
