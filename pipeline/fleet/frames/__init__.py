"""What each page of the dashboard shows: one function a page, read from a published view.

In: a connection to a view, the reader's choices, today's date. Out: frozen dataclasses of sentences and small frames,
so that pages only draw. One module a page; `club` holds what they share.
"""

from pipeline.fleet.frames.calendar_file import calendar_activities, calendar_look, whose_calendar
from pipeline.fleet.frames.club import ALL, PAST, WEEK, Choices, Club, Filters, choices, club, racket_names
from pipeline.fleet.frames.inspect import Inspect, LookChanged, Standing, inspect, inspect_order, look_changed
from pipeline.fleet.frames.messages import Message, hand_in_rows, list_words, messages
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
from pipeline.fleet.frames.reels import ReelsPage, reels
from pipeline.fleet.frames.this_week import ThisWeek, list_line, this_week
from pipeline.fleet.frames.track_record import TrackRecordPage, track_record
from pipeline.fleet.frames.what_if import Asked, Told, WhatIfPage, what_if_page, what_if_told
from pipeline.fleet.frames.workload import Workload, workload

__all__ = [
    "ALL",
    "PAST",
    "WEEK",
    "Asked",
    "BedPicture",
    "Choices",
    "Club",
    "Filters",
    "Inspect",
    "LoadResult",
    "LookChanged",
    "Message",
    "MovedDate",
    "Places",
    "Racket",
    "Records",
    "ReelsPage",
    "Standing",
    "ThisWeek",
    "Told",
    "TrackRecordPage",
    "WhatIfPage",
    "Workload",
    "calendar_activities",
    "calendar_look",
    "choices",
    "club",
    "hand_in_rows",
    "inspect",
    "inspect_order",
    "list_line",
    "list_words",
    "load_result",
    "look_changed",
    "messages",
    "needs",
    "place_line",
    "racket",
    "racket_names",
    "records",
    "reels",
    "refused_load",
    "this_week",
    "track_record",
    "what_if_page",
    "what_if_told",
    "whose_calendar",
    "workload",
]
