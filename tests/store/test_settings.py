"""club.toml: written once with the defaults, read strictly."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipeline.store import ClubSettings, SettingsError, Store
from pipeline.store.settings import parse_settings


def test_the_file_written_at_first_use_is_the_defaults_with_a_comment_each(store: Store) -> None:
    store.create()
    text = (store.folder / "club.toml").read_text(encoding="utf-8")
    assert parse_settings(text) == ClubSettings() == parse_settings("")
    assert set(tomllib.loads(text)) == set(ClubSettings.__dataclass_fields__)
    lines = text.splitlines()
    for place, line in enumerate(lines):
        if (
            line
            and "=" in line
            and not line.startswith("#")
            and line.split(" ")[0] in ClubSettings.__dataclass_fields__
        ):
            assert lines[place - 1].startswith("#"), line


def test_a_file_that_is_there_is_left_alone(store: Store, club: Path) -> None:
    store.create(name='The "Demo" club')
    assert store.settings.name == 'The "Demo" club'
    (store.folder / "club.toml").write_text('currency = "GBP"\n[restring_policy]\nU16 = "every_14_days"\n')
    store.load(club)
    settings = store.settings
    assert (settings.currency, settings.tension_unit, settings.name) == ("GBP", "kg", "Our club")
    assert (settings.policy_of("U16"), settings.policy_of("U12")) == ("every_14_days", "when_due")
    assert (settings.rackets_needed_by("national"), settings.rackets_needed_by(None)) == (3, 1)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('curency = "EUR"', "club.toml: the setting 'curency' is unknown: did you mean currency?"),
        ('tension_units = "kg"', "club.toml: the setting 'tension_units' is unknown: did you mean tension_unit?"),
        ("[rackets_needed]\nnationals = 3", "club.toml: the level 'nationals' is unknown: did you mean national?"),
        ('tension_unit = "stone"', "club.toml: tension_unit is 'stone': it must be kg or lb."),
        ("service_level = 95", "club.toml: service_level is 95: it must be a number from 0.5 to 0.999."),
        ("name = 7", "club.toml: name is 7: it must be text in quote marks."),
        (
            'time_zone = "Mars/Base"',
            "club.toml: time_zone is 'Mars/Base': it must be a zone name such as Europe/Paris.",
        ),
        (
            '[roles]\nkim = "king"',
            "club.toml: role of kim is 'king': it must be one of coach, stringer, manager, reader.",
        ),
        (
            'restring_policy = "weekly"',
            "club.toml: restring_policy is 'weekly': it must be a section headed [restring_policy].",
        ),
        (
            '[restring_policy]\nU16 = "weekly"',
            "club.toml: restring_policy of U16 is 'weekly': it must be when_due, before_events or every_N_days "
            "(as every_14_days).",
        ),
    ],
)
def test_what_is_wrong_is_said(text: str, sentence: str) -> None:
    with pytest.raises(SettingsError) as error:
        parse_settings(text)
    assert str(error.value) == sentence


def test_a_file_that_is_no_toml_is_said() -> None:
    with pytest.raises(SettingsError, match=r"club.toml cannot be read: .* mend that place, or delete the file"):
        parse_settings("name = ")


def test_settings_cannot_be_changed_by_the_way() -> None:
    with pytest.raises(AttributeError):
        ClubSettings().name = "x"  # type: ignore[misc]
    with pytest.raises(TypeError):
        ClubSettings().rackets_needed["club"] = 9  # type: ignore[index]
