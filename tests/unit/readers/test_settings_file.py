"""Settings: every fault of site.toml in plain words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.settings_file import checked_settings, parsed_toml, settings_from_rows
from tests.unit.readers.sites import SETTINGS

PLACE = Place("site.toml")


def faults(text: str) -> str:
    """All faults of a settings text."""
    log = FaultLog()
    document = parsed_toml(text.encode(), PLACE, log)
    if document is not None:
        checked_settings(document, PLACE, log)
    return "\n".join(str(fault) for fault in log.faults)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "Pond"', "", "key name: found nothing"),
        ('name = "Pond"', "name = Pond", "line 2"),
        ("low_m = 11.6", "low_m = '11,6'", "key levels.low_m: found '11,6'; expected a number"),
        ("low_m = 11.6", "low_m = 12.6", "low_m 12.6 is above normal_m 12"),
        ("low_m = 11.6", "low_m = nan", "finite"),
        ("low_m = 11.6", "low = 11.6", "'low_m' meant"),
        ("low_m = 11.6", "low_m = 11.6\nlow_ft = 3", "another unit"),
        ("length_m = 4.0", "lenght_m = 4.0", "'length_m' meant"),
        ("length_m = 4.0", "length_ft = 'x'", "key raft[1].length_ft: found 'x'"),
        ("length_m = 4.0", "length_m = 1.0", "exchange the two"),
        ("length_m = 4.0", "length_m = true", "found True"),
        ("length_m = 4.0", "length_m = -4.0", "greater than 0"),
        ("[levels]", "[[levels]]", "a table"),
        ("[[raft]]", "[raft]", "a list"),
        ("draft_m = 0.2", "draft_m = 0.2\nstock = 2.5", "whole number"),
        ("draft_m = 0.2", "draft_m = 0.2\nmooring = 'chain'", "'posts', 'lines' or 'auto'"),
        ("draft_m = 0.2", "draft_m = 0.2\n[survey]\ndate = 'May'", "key survey.date"),
        ("draft_m = 0.2", "draft_m = 0.2\n[sun]\nseason = ['04-15']", "key sun.season"),
        ("draft_m = 0.2", "draft_m = 0.2\n[cower]\nmax_pct = 3", "'cover' meant"),
    ],
)
def test_each_fault_is_said_in_words(old: str, new: str, words: str) -> None:
    assert words in faults(SETTINGS.replace(old, new, 1))


def test_all_faults_come_at_once_and_no_echo_of_them() -> None:
    text = faults(SETTINGS.replace("length_m = 4.0", "length_m = 'a'").replace("low_m", "lo_m"))
    assert len(text.splitlines()) == 2
    assert "at least 1 item" not in text


def test_units_are_converted_wherever_they_stand() -> None:
    log = FaultLog()
    document = {
        "name": "a",
        "levels": {"low_ft": 1.0, "normal_ft": 2.0, "high_ft": 3.0},
        "raft": [{"name": "r", "length_ft": 10.0, "width_in": 50.0, "draft_in": 8.0}],
        "clearances": {"bank_ft": 6.0},
    }
    settings = checked_settings(document, PLACE, log)
    assert settings is not None
    assert settings.levels.high_m == pytest.approx(0.9144)
    assert settings.raft[0].width_m == pytest.approx(1.27)
    assert settings.clearances.bank_m == pytest.approx(1.8288)


def test_a_key_of_rows_given_twice_is_refused() -> None:
    log = FaultLog()
    assert settings_from_rows([("a.b", "1"), ("a.b", "2"), ("c", "x")], PLACE, log) is None
    assert len(log.faults) == 2


@given(st.binary(max_size=100))
def test_any_bytes_are_settings_or_a_fault(data: bytes) -> None:
    log = FaultLog()
    document = parsed_toml(data, PLACE, log)
    settings = None if document is None else checked_settings(document, PLACE, log)
    assert settings is None
    assert log.has_errors
