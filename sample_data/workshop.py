"""The club's stringing bench: stringers' hours, the queue of handed-in rackets, strings used, counted and ordered.

In: days (ordinals), jobs, the generator. Out: which jobs get strung on which day by whom, `stock` counts, `orders`,
`bench` hours. Minutes and metres. A job waits until a stringer has half its time left that day.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from sample_data.catalogue import STRINGS_BY_ID, Frame

STRINGERS = ("Ordal", "Ketty", "Brevik", "Sanno", "Ulmar", "Tirza")
WEEKDAYS = ({0: 150, 2: 145, 4: 150}, {1: 110, 3: 110, 5: 120})


@dataclass
class Job:
    """One racket at the bench. `cause` is the truth, the word written down may differ or be missing."""

    job_id: str
    racket_id: str
    handed_in_on: int
    cause: str
    due_on: int
    is_urgent: bool
    stringer: str = ""
    strung_on: int | None = None
    handed_back_on: int | None = None
    restring_id: str = ""


@dataclass
class Order:
    order_id: str
    string_id: str
    ordered_on: int
    expected_on: int
    received_on: int
    metres: float
    price: str


@dataclass
class Workshop:
    """Bench and shelf. `hours` holds minutes by day and stringer, `left` what is left of today."""

    count_players: int
    rng: np.random.Generator
    hours: dict[tuple[int, str], int] = field(default_factory=dict)
    queue: list[Job] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)
    left: dict[str, float] = field(default_factory=dict)
    shelf_m: dict[str, float] = field(default_factory=dict)
    counts: list[tuple[int, str, float]] = field(default_factory=list)
    orders: list[Order] = field(default_factory=list)

    def plan_hours(self, first: int, last: int, closed: set[int]) -> None:
        """Minutes by day and stringer: a usual week, less holidays, with days off and longer days."""
        pairs = max(1, round(self.count_players / 40))
        scale = max(0.35, self.count_players / 40 / pairs)
        for day in range(first, last + 1):
            weekday = date.fromordinal(day).weekday()
            for number in range(2 * pairs if self.count_players > 12 else 1):
                usual = WEEKDAYS[number % 2].get(weekday, 0) * scale
                if day in closed or usual == 0 or self.rng.random() < 0.05:
                    continue
                name = STRINGERS[number % len(STRINGERS)] + (
                    f" {number // len(STRINGERS) + 1}" if number >= len(STRINGERS) else ""
                )
                longer = 1.25 if self.rng.random() < 0.1 else 1.0
                self.hours[day, name] = int(round(max(usual * longer, 35) / 5) * 5)

    def open_day(self, day: int, names: dict[int, list[str]]) -> None:
        self.left = {name: float(self.hours[day, name]) for name in names.get(day, [])}

    def names_by_day(self) -> dict[int, list[str]]:
        out: dict[int, list[str]] = {}
        for day, name in self.hours:
            out.setdefault(day, []).append(name)
        return out

    def hand_in(self, racket_id: str, day: int, cause: str, due_on: int, is_urgent: bool) -> Job:
        job = Job(f"J{len(self.jobs) + 1:05d}", racket_id, day, cause, due_on, is_urgent)
        self.jobs.append(job)
        self.queue.append(job)
        return job

    def minutes_for(self, frame: Frame, is_hybrid: bool) -> int:
        usual = 29 + (3 if is_hybrid else 0) + (2 if frame.mains > 16 else 0)
        return int(max(16, round(usual * float(np.exp(self.rng.normal(0, 0.14))))))

    def next_job(self, minutes_of: dict[str, int], only: set[str] | None = None) -> tuple[Job, str] | None:
        """The most pressing job somebody has time for, with the stringer who takes it."""
        self.queue.sort(key=lambda job: (not job.is_urgent, job.due_on, job.handed_in_on, job.job_id))
        for job in self.queue:
            if only is not None and job.job_id not in only:
                continue
            for name, left in self.left.items():
                if left >= 0.5 * minutes_of[job.racket_id]:
                    self.left[name] = left - minutes_of[job.racket_id]
                    self.queue.remove(job)
                    return job, name
        return None

    def use(self, string_id: str, metres: float) -> None:
        self.shelf_m[string_id] = self.shelf_m.get(string_id, 2.0 * self.reel(string_id)) - metres

    def reel(self, string_id: str) -> float:
        return max(STRINGS_BY_ID[string_id].reel_m, 120.0)

    def close_day(self, day: int) -> None:
        """Receive what comes, order what runs low, count the shelf about once a month."""
        for order in self.orders:
            if order.received_on == day:
                self.shelf_m[order.string_id] += order.metres
        coming = {order.string_id for order in self.orders if order.received_on > day}
        for string_id, metres in sorted(self.shelf_m.items()):
            string = STRINGS_BY_ID[string_id]
            if metres < 0.45 * self.reel(string_id) and string_id not in coming:
                reels = max(1, round(self.reel(string_id) / string.reel_m)) * max(1, round(self.count_players / 40))
                late = int(self.rng.choice((-1, 0, 0, 1, 3)))
                due = day + string.lead_days
                price = f"{reels * float(string.reel_price):.2f}"
                arrives = day if metres < 15 else max(day + 1, due + late)
                self.orders.append(
                    Order(f"O{len(self.orders) + 1:04d}", string_id, day, due, arrives, reels * string.reel_m, price)
                )
                if arrives == day:
                    self.shelf_m[string_id] += reels * string.reel_m
        if date.fromordinal(day).weekday() == 5 and date.fromordinal(day).day <= 7:
            for string_id, metres in sorted(self.shelf_m.items()):
                self.counts.append((day, string_id, max(0.0, float(round(metres + self.rng.normal(0, 1.5))))))
