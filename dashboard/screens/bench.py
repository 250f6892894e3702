"""Bench: the tickets in order, one tap a step; the weeks ahead against the hours, what does not fit. For the stringer.

In: the frame `BenchPage`. Out: the page; each tap is one entry in the store, which can be taken back.
"""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from dashboard import address, bench_charts, bench_data, charts, data, door, screen
from dashboard.drawing import drawn
from dashboard.entry import Entered, Refused, show_done
from pipeline.fleet import words
from pipeline.fleet.bench.plan import BenchPlan
from pipeline.fleet.frames.bench import BenchPage, Card, plan_line, pull_kg, pull_limits
from pipeline.fleet.tickets import ConfirmError, Strung, move, strung
from pipeline.refresh import refresh
from pipeline.store import StoreError
from pipeline.store.report import LoadReport

PAGE, FILTERS = "Bench", ("stringer",)
DONE, CONFIRM = "bench done", "bench to confirm"
COUNT_SHOWN, COUNT_LATE = 12, 6
PDF, ICS = "application/pdf", "text/calendar"


def show() -> None:
    """The whole page: tickets first, from what is known at once; then the plan, worked out where it is not kept."""
    address.come_home(PAGE, FILTERS)
    plan, why = bench_data.kept_plan(), bench_data.why_no_plan()
    is_new = plan is None and why is None
    shown = bench_data.page(plan or (bench_data.last_plan() if is_new else None), words.sentence(why or ""))
    st.title(words.plain(shown.title), anchor=False)
    st.caption(shown.club.byline)
    if not is_new:
        st.markdown(words.plain(shown.sentence))
    show_done(DONE)
    stringer = choose_stringer()
    show_tickets(shown, stringer)
    if is_new:
        with st.spinner("Planning the weeks ahead"):
            bench_data.work_out_plan()
        st.rerun()
    show_plan(shown)
    show_prints(shown, plan)
    st.caption(words.plain(shown.caution))
    address.keep(PAGE, FILTERS)


def choose_stringer() -> str | None:
    """Who is at the bench; written down with what is strung."""
    names = list(data.known().stringers)
    return (
        address.chosen_of(st.container(width=260), "At the bench", names, "stringer", "As planned") if names else None
    )


def show_tickets(shown: BenchPage, stringer: str | None) -> None:
    """The cards, by planned day; then what is strung and waits for its player."""
    if not shown.count_open and not shown.waiting:
        st.info("Book rackets on the page This week, or load jobs.csv, and their tickets stand here in order.")
        return
    left, is_all = COUNT_SHOWN, st.session_state.get("bench_all", False)
    for heading, cards in shown.groups:
        if not is_all and left <= 0:
            break
        st.header(words.plain(heading), anchor=False)
        for card in cards if is_all else cards[:left]:
            show_card(card, stringer or card.stringer)
        left -= len(cards)
    if not is_all and shown.count_open > COUNT_SHOWN:
        st.button(f"Show all {shown.count_open} tickets", key="bench_all")
    if shown.waiting:
        st.header("Strung, to hand back", anchor=False)
        for card in shown.waiting:
            show_waiting(card)


def show_card(card: Card, stringer: str | None) -> None:
    """One ticket: racket and player, the bed's settings, what to mind, one tap a step."""
    with st.container(border=True, gap="xsmall"):
        who, bed, taps = st.columns([1.35, 2.5, 1.65], vertical_alignment="center")
        with who, st.container(gap=None):
            st.markdown(f"**{words.plain(card.racket_id)}** · {words.plain(card.who)}")
            st.caption(words.plain(card.frame))
        with bed, st.container(gap=None):
            st.markdown(f"**{words.plain(card.pull)}** · {words.plain(card.strings)}")
            parts = [part for part in (card.metres, card.setup, card.due, card.state_words) if part]
            st.caption(words.plain(" · ".join(parts)))
        with taps, st.container(horizontal=True, horizontal_alignment="right" if not screen.is_narrow() else "left"):
            show_taps(card, stringer)
        if card.stop:
            st.error(words.plain(card.stop), icon=":material/block:")
        if card.ask:
            st.warning(words.plain(card.ask), icon=":material/warning:")
            if st.session_state.get(CONFIRM) == card.job_id:
                st.button(
                    "The player wants it: strung", key=f"confirm {card.job_id}", icon=":material/check:",
                    on_click=do_strung, args=(card, stringer, Strung(is_confirmed=True)),
                )  # fmt: skip
        for note in card.notes:
            st.caption(f":material/info: {words.plain(note)}")


def show_taps(card: Card, stringer: str | None) -> None:
    """The next steps of one ticket."""
    job = card.job_id
    if not card.stop:
        if card.state == "due":
            st.button("Book", key=f"book {job}", on_click=do_move, args=(card, "booked", stringer))
        elif card.state == "booked":
            st.button("On the bench", key=f"bench {job}", on_click=do_move, args=(card, "on_bench", stringer))
        st.button(
            "Strung", key=f"strung {job}", type=screen.main_button(), icon=":material/check:",
            on_click=do_strung, args=(card, stringer, Strung()),
        )  # fmt: skip
    with st.popover("More", help=f"Other steps for {card.racket_id}"):
        show_more(card, stringer)


def show_more(card: Card, stringer: str | None) -> None:
    """Strung otherwise than the ticket says; or given back as it is."""
    job = card.job_id
    st.markdown("**Strung otherwise**")
    names = data.known().strings
    ids = list(names)
    with st.form(f"otherwise {job}", border=False):
        mains = st.selectbox(
            "Mains", ids, format_func=names.__getitem__, key=f"mains {job}",
            index=ids.index(card.mains_string_id) if card.mains_string_id in ids else None,
        )  # fmt: skip
        crosses = st.selectbox(
            "Crosses", ids, format_func=names.__getitem__, key=f"crosses {job}",
            index=ids.index(card.crosses_string_id) if card.crosses_string_id in ids else None,
        )  # fmt: skip
        unit = data.tension_unit()
        low, high = pull_limits(unit)
        mains_pull = st.number_input(
            f"Pull of the mains, {unit}", low, high, card.mains_pull, 0.5, key=f"mains pull {job}"
        )
        crosses_pull = st.number_input(
            f"Pull of the crosses, {unit}", low, high, card.crosses_pull, 0.5, key=f"crosses pull {job}"
        )
        minutes = st.number_input("Minutes at the machine", 1, 600, None, 1, key=f"minutes {job}")
        is_sure = st.checkbox("Above the frame's window is agreed", key=f"sure {job}") if card.ask else False
        if st.form_submit_button("Strung like this", icon=":material/check:") and not card.stop:
            done = Strung(
                mains_string_id=mains, crosses_string_id=crosses, mains_kg=pull_kg(mains_pull, unit),
                crosses_kg=pull_kg(crosses_pull, unit), minutes=minutes, is_confirmed=is_sure,
            )  # fmt: skip
            do_strung(card, stringer, done)
            st.rerun()
    st.button("Give it back unstrung", key=f"back {job}", on_click=do_move, args=(card, "handed_back", stringer))


def show_waiting(card: Card) -> None:
    """A racket that is strung: one tap when its player has it."""
    with st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="distribute"):
        st.markdown(f"**{words.plain(card.racket_id)}** · {words.plain(card.who)} · {words.plain(card.state_words)}")
        st.button("Handed back", key=f"handed {card.job_id}", on_click=do_move, args=(card, "handed_back", None))


def do_move(card: Card, state: str, stringer: str | None) -> None:
    """One step of a ticket that is not stringing."""
    said = {"booked": "is booked", "on_bench": "is on the bench", "handed_back": "is handed back"}[state]
    changes_ranking = card.state == "due" or (state == "handed_back" and card.state != "strung")
    attempt(
        f"{card.racket_id} {said}.",
        lambda: move(data.open_store(), card.job_id, state, door.person(), on=data.load_day(), stringer=stringer),
        card,
        changes_ranking,
    )


def do_strung(card: Card, stringer: str | None, done: Strung) -> None:
    """Strung: the restring, the ticket and the stock in one entry."""
    is_as_planned = done == Strung() or done == Strung(is_confirmed=True)
    taken = f": {card.taken}" if card.taken and is_as_planned else ""
    attempt(
        f"{card.racket_id} is strung{taken}.",
        lambda: strung(data.open_store(), card.job_id, door.person(), on=data.load_day(), stringer=stringer, done=done),
        card,
        changes_ranking=True,
    )


def attempt(text: str, act: Callable[[], LoadReport], card: Card, changes_ranking: bool) -> None:
    """Do one step; what came of it is said at the top of the page."""
    st.session_state.pop(CONFIRM, None)
    try:
        report = act()
        if changes_ranking:
            refresh(data.open_store())
    except ConfirmError:
        st.session_state[CONFIRM] = card.job_id
        return
    except StoreError as error:
        st.session_state[DONE] = Refused(words.sentence(str(error)))
        return
    st.session_state[DONE] = Entered(report.entry_id, text)


def show_plan(shown: BenchPage) -> None:
    """The weeks ahead: late and mends first, then the chart and the list."""
    if shown.days.empty:
        return
    st.header("The weeks ahead", anchor=False)
    for line in shown.late[:COUNT_LATE]:
        st.markdown(f"▲ {words.plain(line)}")
    if shown.late[COUNT_LATE:]:
        with st.expander("What else is late"):
            for line in shown.late[COUNT_LATE:]:
                st.markdown(f"▲ {words.plain(line)}")
    for line in shown.mends:
        st.markdown(f":material/build: {words.plain(line)}")
    for line in shown.pulls:
        st.markdown(f":material/arrow_upward: {words.plain(line)}")
    for note in shown.notes:
        st.caption(words.plain(note))
    st.plotly_chart(
        drawn(
            "bench-days",
            lambda: bench_charts.bench_days(shown.days, screen.colours(), screen.is_narrow()),
            tuple(shown.days.itertuples(index=False, name=None)),
        ),
        theme=None,
        config=charts.CONFIG,
        key="bench-days",
        alt=f"Hours planned and kept free by day, against the hours there are. {shown.sentence}",
    )
    with st.expander("Job by job"):
        if screen.is_narrow():
            for row in shown.table.to_dict("records"):
                st.markdown(plan_line(row))
            return
        date = st.column_config.DateColumn(format="ddd D MMM")
        st.dataframe(
            shown.table,
            hide_index=True,
            column_config={"Day": date, "Due": date},
            height=screen.table_height(len(shown.table), screen.ONE_LINE, at_most=20),
            placeholder="",
            alt="The plan: day, stringer, racket, string bed, minutes, due day and days late.",
        )


def show_prints(shown: BenchPage, plan: BenchPlan | None) -> None:
    """Paper and calendars."""
    st.header("Print and share", anchor=False)
    with st.container(horizontal=True):
        download("Bench sheet", lambda: bench_data.sheet(shown), "bench-sheet.pdf", PDF)
        download("Tickets", lambda: bench_data.ticket_prints(shown), "tickets.pdf", PDF)
        download("Racket labels, roll", lambda: bench_data.labels("roll"), "labels-roll.pdf", PDF)
        download("Racket labels, A4", lambda: bench_data.labels("a4"), "labels-a4.pdf", PDF)
        if plan is not None:
            download("Plan for a calendar", lambda: bench_data.plan_calendar(plan, shown), "bench.ics", ICS)
        download("Events for a calendar", lambda: bench_data.event_calendar(shown), "events.ics", ICS)


def download(label: str, make: Callable[[], bytes], name: str, mime: str) -> None:
    """A button whose file is made when it is pressed."""
    st.download_button(label, data=make, file_name=name, mime=mime, icon=":material/download:", on_click="ignore")


show()
