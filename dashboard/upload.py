"""Bringing files in: the upload box, what one load did and its rejects, and a template of every file.

In: files that a reader drops in. Out: a load through the store, a refreshed view, and a report in words. The files are
written to a folder of their own under their given names and thrown away after the load; the store keeps every row.
"""

from __future__ import annotations

import io
import tempfile
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import streamlit as st

from dashboard import data, door, screen
from dashboard.arriving import Arrived, Glance, arrived, glance
from pipeline.contract import Resource, load_contract, template_csv
from pipeline.fleet import frames, words
from pipeline.refresh import refresh
from pipeline.store import StoreError

REPORT, ROUND = "last_load", "round of the upload box"
LISTED_ON_A_PHONE = 20
FILE_ORDER = (
    "players rackets strings restrings matches practices inspections calendar bench jobs setups holders stock orders"
)


def show_upload() -> None:
    """The box, a look at what was chosen, the button, and what the last load of this session did."""
    files = st.file_uploader(
        "CSV files, one or several, or a zip of them",
        type=["csv", "zip"],
        accept_multiple_files=True,
        key=f"upload {st.session_state.get(ROUND, 0)}",
    )
    taken, told = arrived(files)
    for sentence in told:
        st.warning(words.plain(sentence))
    if taken:
        with st.expander(f"Look at {words.count(len(taken), 'file')} before loading"):
            for file in taken:
                show_glance(glance(file))
    if st.button("Load these files", icon=":material/upload_file:", disabled=not taken):
        st.session_state[REPORT] = load(taken)
        st.session_state[ROUND] = st.session_state.get(ROUND, 0) + 1  # an empty box for the next files
        st.rerun()
    if REPORT in st.session_state:
        show_report(st.session_state[REPORT])


def show_glance(look: Glance) -> None:
    """One file's name, size and first rows."""
    st.caption(words.plain(look.sentence))
    if not look.rows.empty:
        st.dataframe(look.rows, hide_index=True, placeholder="")


def load(files: list[Arrived]) -> frames.LoadResult:
    """Write the files down, load them and refresh the view; what happened comes back in words and frames."""
    with tempfile.TemporaryDirectory() as folder, st.status("Loading", expanded=True) as status:
        origins = {}
        for file in files:
            path = Path(folder) / Path(file.name).name
            path.write_bytes(file.data)
            origins[path] = file.origin
        store = data.open_store()
        try:
            report = store.load(
                origins,
                now=datetime.now(UTC),
                load_day=data.load_day(),
                by=door.person(),
                origins=origins,
                progress=lambda done, count, name: status.update(
                    label=f"Checking {name} ({done + 1} of {count})" if name else "Checked"
                ),
            )
            if report.is_usable:
                status.update(label="Working out the ranking and the forecast")
                refresh(store)
            result = frames.load_result(report, store.rejects())
        except StoreError as error:
            status.update(label="Not loaded", state="error", expanded=False)
            return frames.refused_load(str(error))
        status.update(label="Loaded", state="complete", expanded=False)
    return result


def show_report(result: frames.LoadResult) -> None:
    """What came in, what was turned away and what to mend."""
    for refusal in result.refused:
        st.error(words.plain(refusal), icon=":material/error:")
    if not result.sentence:
        return
    if result.rejects.table.empty:
        st.success(result.sentence, icon=":material/check:")
    else:
        st.warning(result.sentence, icon=":material/edit:")
    for note in result.notes:
        st.caption(words.plain(note))
    st.dataframe(result.files, hide_index=True, placeholder="")
    if not result.rejects.table.empty:
        st.markdown("**To mend in this load**")
        show_places(result.rejects, "rejects-of-this-load.csv", "What to mend")


def show_places(places: frames.Places, file_name: str, message_label: str) -> None:
    """Rows with their place in a file and a sentence; and the same as a file to take away."""
    if screen.is_narrow():
        for row in places.table.head(LISTED_ON_A_PHONE).to_dict("records"):
            st.markdown(frames.place_line(row))
    else:
        show_places_table(places, message_label)
    st.download_button(
        "Download the list", places.as_csv, file_name, "text/csv", icon=":material/download:", key=file_name,
        on_click="ignore",
    )  # fmt: skip


def show_places_table(places: frames.Places, message_label: str) -> None:
    """The same rows side by side, for a screen that is wide enough."""
    st.dataframe(
        places.table,
        height=screen.table_height(len(places.table), screen.TWO_LINES, at_most=7),
        hide_index=True,
        row_height=screen.TWO_LINES,
        column_config={
            "file": st.column_config.TextColumn("File", width=120),
            "line": st.column_config.NumberColumn("Line", width=56, format="%d"),
            "column": st.column_config.TextColumn("Column", width=110),
            "value": st.column_config.TextColumn("Value", width=120),
            "message": st.column_config.TextColumn(message_label, width=640),
        },
        placeholder="",
        alt=f"{message_label}: file, line, column, value and a sentence for each row.",
    )


def show_templates() -> None:
    """An empty file with one example row for each file of the contract."""
    resources = list(load_contract().resources.values())
    st.caption(
        "Each template has the header and one example row to overwrite. Commas or semicolons, columns in any order, "
        "dates as 2026-03-14. A club needs the first four; every other file makes the dates better."
    )
    st.download_button(
        "All templates, one zip",
        all_templates(),
        "templates.zip",
        "application/zip",
        icon=":material/folder_zip:",
        on_click="ignore",
    )
    needed_first = sorted(resources, key=lambda resource: (resource.is_optional, FILE_ORDER.find(resource.name)))
    for start in range(0, len(needed_first), 3):
        for place, resource in zip(st.columns(3, gap="medium"), needed_first[start : start + 3], strict=False):
            with place:
                show_template(resource)


def show_template(resource: Resource) -> None:
    """One file's template and what it is for."""
    with st.container(gap=None):
        st.download_button(
            resource.file_name,
            template_csv(resource, with_example=True),
            resource.file_name,
            "text/csv",
            key=f"template-{resource.name}",
            icon=":material/download:",
            type="tertiary",
            on_click="ignore",
        )
        needed = "" if resource.is_optional else "**Needed.** "
        st.caption(needed + words.plain(resource.description.replace("`", "")))


@st.cache_data(max_entries=1, show_spinner=False)
def all_templates() -> bytes:
    """Every template in one zip file."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for resource in load_contract().resources.values():
            archive.writestr(resource.file_name, template_csv(resource, with_example=True))
    return packed.getvalue()
