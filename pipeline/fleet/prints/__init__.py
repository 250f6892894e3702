"""What goes on paper and into calendars: bench sheet, tickets, hand-in list, labels as PDF; iCalendar out and in."""

from pipeline.fleet.prints.bench_sheet import bench_sheet_pdf
from pipeline.fleet.prints.hand_in_list import hand_in_list_pdf
from pipeline.fleet.prints.labels import labels_pdf
from pipeline.fleet.prints.small_tickets import small_tickets_pdf

__all__ = ["bench_sheet_pdf", "hand_in_list_pdf", "labels_pdf", "small_tickets_pdf"]
