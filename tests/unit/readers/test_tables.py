"""Tables of text and their columns."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geoplan.readers.columns import clean_text, text_number
from geoplan.readers.fault_log import FaultLog, Place
from geoplan.readers.tables import table_columns, table_layer

PLACE = Place("marks.csv", "marks")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("start", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_usual_ways_of_writing_a_table_are_read(separator: str, start: str, end: str) -> None:
    lines = ["mark_id,Longitude_deg , latitude_deg", '"a, b",9.3,56.1', "", "c,9.4,56.2"]
    text = start + end.join(lines).replace(",", separator).replace(f"a{separator} b", "a, b") + end
    log = FaultLog()
    layer = table_layer(text.encode(), PLACE, log)
    assert log.faults == ()
    assert layer is not None
    assert layer.columns == {"mark_id": ["a, b", "c"]}
    assert layer.rows.tolist() == [2, 4]
    assert [point.x for point in layer.geometries] == [9.3, 9.4]


@given(st.binary(max_size=200))
def test_any_bytes_are_a_table_or_a_fault(data: bytes) -> None:
    log = FaultLog()
    assert table_columns(data, PLACE, log) is not None or log.has_errors


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_survive_as_text(value: float) -> None:
    assert text_number(repr(value)) == value


@pytest.mark.parametrize(
    "text", ["", "1,5", "1 000", "0x10", "inf", "nan", "1_0", "٣", "1e999", "--1"]
)
def test_what_is_no_plain_number_is_none(text: str) -> None:
    assert math.isnan(text_number(text))


@given(st.text())
def test_clean_text_is_printable_and_stays_as_it_is(text: str) -> None:
    cleaned = clean_text(text)
    assert cleaned.isprintable()
    assert clean_text(cleaned) == cleaned
