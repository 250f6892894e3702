"""What each page of the dashboard shows: one function a page, read from a published view.

In: a connection to a view, the reader's choices, today's date. Out: frozen dataclasses of sentences and small frames,
so that pages only draw. One module a page; `club` holds what they share.
"""

from pipeline.fleet.frames.club import ALL, PAST, WEEK, Choices, Club, Filters, choices, club, racket_names
from pipeline.fleet.frames.moved import MovedDate
from pipeline.fleet.frames.racket import BedPicture, Racket, racket
from pipeline.fleet.frames.records import (
    LoadResult,
    Places,
    Records,
    load_result,
    needs,
    place_line,
    records,
    refused_load,
)
from pipeline.fleet.frames.this_week import ThisWeek, list_line, this_week
from pipeline.fleet.frames.track_record import TrackRecordPage, track_record
from pipeline.fleet.frames.workload import Workload, workload

__all__ = [
    "ALL",
    "PAST",
    "WEEK",
    "BedPicture",
    "Choices",
    "Club",
    "Filters",
    "LoadResult",
    "MovedDate",
    "Places",
    "Racket",
    "Records",
    "ThisWeek",
    "TrackRecordPage",
    "Workload",
    "choices",
    "club",
    "list_line",
    "load_result",
    "needs",
    "place_line",
    "racket",
    "racket_names",
    "records",
    "refused_load",
    "this_week",
    "track_record",
    "workload",
]
