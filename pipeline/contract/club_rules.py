"""The rules that run across columns and files, beyond what a Table Schema can say; the same form as in `rules.py`.

Sources: common practice where a rule speaks of the trade (a bed of monofilaments does not fray; 25 kg and 52 lb are
usual pulls); the rest is what the words of the contract mean.
"""

from __future__ import annotations

from pipeline.contract.rules import Rule, sentence

KG_IN_LB = 0.45359237
USUAL_TENSION_TOP_KG = 36  # above it a pull is questioned: very few frames allow more
USUAL_TENSION_BOTTOM_LB = 28  # below it a pull in pounds is questioned: it may be in kilograms
UNITS_DIFFER_KG = 0.3  # a pull given in both units may differ by rounding, not by more


def _before(column: str, earlier: str, why: str) -> Rule:
    """Refuses a row in which `column` lies before `earlier`."""
    said = sentence(
        f"{column} ",
        "{" + column + "}",
        f" lies before {earlier} ",
        "{" + earlier + "}",
        f": {why}; correct one of the two.",
    )
    return Rule(column, f't."{column}" < t."{earlier}"', said)


def _tension_rules() -> list[Rule]:
    rules = []
    for part in ("mains", "crosses"):
        kg, lb = f"{part}_kg", f"{part}_lb"
        rules += [
            Rule(
                lb,
                f't."{kg}" is not null and t."{lb}" is not null and abs(t."{kg}" - t."{lb}" * {KG_IN_LB}) > '
                f"{UNITS_DIFFER_KG}",
                sentence(
                    f"{kg} ",
                    "{" + kg + "}",
                    f" and {lb} ",
                    "{" + lb + "}",
                    " are not the same pull: leave one of them out.",
                ),
            ),
            Rule(
                kg,
                f't."{kg}" > {USUAL_TENSION_TOP_KG} and t."{kg}" <= 45',
                sentence(f"{kg} ", "{" + kg + "}", " is unusually high for kilograms: check that it is not in pounds."),
                is_question=True,
            ),
            Rule(
                lb,
                f't."{lb}" < {USUAL_TENSION_BOTTOM_LB} and t."{lb}" >= 11',
                sentence(f"{lb} ", "{" + lb + "}", " is unusually low for pounds: check that it is not in kilograms."),
                is_question=True,
            ),
        ]
    return rules


def _known_squad() -> Rule:
    return Rule(
        "squad",
        "t.squad is not null and t.squad not in (select p.squad from players as p)",
        sentence("no player of players.csv is in squad ", "{squad}", ": the row is kept; check the spelling."),
        is_question=True,
    )


def _in_service(column: str, what: str, is_question: bool) -> Rule:
    """A racket can do nothing before its first day."""
    started = "(select max(r.in_service_on) from rackets as r where r.racket_id = t.racket_id)"
    outcome = "the row is kept; " if is_question else ""
    before = sentence(
        f"{column} ", "{" + column + "}", " lies before the racket existed: ", "{racket_id}", " came into service on "
    )
    after = sentence(
        f" and cannot have been {what} earlier; {outcome}correct {column} here or in_service_on in rackets.csv."
    )
    said = f"{before} || coalesce(cast({started} as varchar), '') || {after}"
    return Rule(column, f't."{column}" < {started}', said, is_elsewhere=not is_question, is_question=is_question)


def _after_service(column: str) -> Rule:
    """Play or work on a racket that had been retired is odd, not impossible."""
    ended = "(select max(r.retired_on) from rackets as r where r.racket_id = t.racket_id)"
    said = sentence(
        f"{column} ", "{" + column + "}", " lies after the day racket ", "{racket_id}",
        " was retired: the row is kept; check the date and the racket.",
    )  # fmt: skip
    return Rule(column, f't."{column}" > {ended}', said, is_question=True)


def _fraying_of_monofilament() -> Rule:
    """Fraying is a sign of soft strings; a bed of monofilaments only does not show it."""
    bed = """exists (
        select 1
        from (
            select arg_max(s.mains_string_id, s.strung_on) as mains_id,
                arg_max(coalesce(s.crosses_string_id, s.mains_string_id), s.strung_on) as crosses_id
            from restrings as s
            where s.racket_id = t.racket_id and s.strung_on <= t.inspected_on
        ) as b
        join strings as m on m.string_id = b.mains_id and m.material = 'polyester'
        join strings as c on c.string_id = b.crosses_id and c.material = 'polyester'
    )"""
    return Rule(
        "fraying",
        f"t.fraying > 0 and {bed}",
        sentence(
            "fraying ", "{fraying}", " on a bed of monofilaments of racket ", "{racket_id}",
            ", which notch and do not fray: the row is kept; check the grade and the racket.",
        ),
        is_question=True,
    )  # fmt: skip


def _known_absentees() -> Rule:
    """A misspelt absentee would count as present."""
    unknown = """exists (
        select 1
        from (select unnest(regexp_split_to_array(t.absent, '[ ;,|]+')) as player_id) as a
        where a.player_id <> '' and a.player_id not in (select p.player_id from players as p)
    )"""
    return Rule(
        "absent",
        f"t.absent is not null and {unknown}",
        sentence("absent ", "{absent}", " names a player who is not in players.csv: the row is kept; check the ids."),
        is_question=True,
    )


def _calendar_rules() -> list[Rule]:
    return [
        Rule(
            "squad",
            "t.squad is null and t.player_id is null and t.activity is distinct from 'closed'",
            sentence("neither squad nor player_id is given: say for whom it is planned."),
        ),
        Rule(
            "minutes",
            "t.minutes__text is null and t.activity is distinct from 'closed'",
            sentence("minutes is empty: fill in the minutes a day for each player."),
        ),
        Rule(
            "minutes",
            "t.minutes = 0 and t.activity is distinct from 'closed' and t.cancelled is distinct from true",
            sentence("minutes is 0: fill in the minutes a day, write closed as activity, or yes under cancelled."),
        ),
        _before("until_on", "planned_on", "a plan ends on or after its first day"),
        _known_squad(),
    ]


def club_rules(resource: str) -> list[Rule]:
    """The rules of one file that the declaration cannot hold."""
    by_file: dict[str, list[Rule]] = {
        "players": [_before("left_on", "since", "a player cannot leave before the row holds")],
        "rackets": [
            _before("retired_on", "in_service_on", "a racket cannot be retired before its first day"),
            Rule(
                "tension_max_kg",
                "t.tension_max_kg < t.tension_min_kg",
                sentence(
                    "tension_max_kg ", "{tension_max_kg}", " is below tension_min_kg ", "{tension_min_kg}",
                    ": correct the window as printed on the frame.",
                ),
            ),
        ],
        "holders": [_in_service("from_on", "handed over", is_question=True)],
        "setups": _tension_rules(),
        "restrings": [
            *_tension_rules(),
            _in_service("strung_on", "strung", is_question=False),
            _after_service("strung_on"),
            Rule(
                "ended_on",
                "t.ended_on > t.strung_on",
                sentence(
                    "ended_on ", "{ended_on}", " lies after strung_on ", "{strung_on}",
                    ": it is the day the OLD strings broke; correct one of the two.",
                ),
            ),
        ],
        "jobs": [_before("state_on", "handed_in_on", "a job moves on only after it was handed in")],
        "matches": [_in_service("played_on", "played", is_question=True), _after_service("played_on")],
        "practices": [
            _in_service("played_on", "played", is_question=True),
            _after_service("played_on"),
            _known_squad(),
            _known_absentees(),
        ],
        "inspections": [_in_service("inspected_on", "looked at", is_question=True), _fraying_of_monofilament()],
        "calendar": _calendar_rules(),
        "orders": [
            _before("expected_on", "ordered_on", "string arrives after it was ordered"),
            _before("received_on", "ordered_on", "string arrives after it was ordered"),
        ],
    }  # fmt: skip
    return by_file.get(resource, [])
