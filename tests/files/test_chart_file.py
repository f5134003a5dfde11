"""Charts are written and read back equal; a wrong file is told by key and row."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from converter.errors import OutputError, PictureError, UsageError
from converter.files.chart_file import chart_bytes, chart_from_bytes, load_chart, save_chart
from converter.files.grids import cells_from_pbm, pbm_from_cells
from converter.model.chart import Chart
from converter.model.materials import Fabric, Thread

GRIDS = hnp.arrays(np.bool_, hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=20))


@st.composite
def charts(draw):
    cells = draw(GRIDS)
    rows, columns = cells.shape
    hole = st.tuples(st.integers(0, 2 * rows).map(lambda v: v / 2), st.integers(0, 2 * columns).map(lambda v: v / 2))
    lines = draw(st.lists(st.tuples(hole, hole).filter(lambda pair: pair[0] != pair[1]), max_size=8))
    return Chart(
        cells=cells,
        lines=lines,
        title=draw(st.text(max_size=12)),
        source=draw(st.text(max_size=12)),
        fabric=Fabric(draw(st.floats(5, 60)), draw(st.integers(1, 4)), "#fdf6e3"),
        thread=Thread("#b01e28", draw(st.text(max_size=8)), draw(st.integers(1, 6)), draw(st.integers(1, 6))),
        settings={"columns": columns},
        extra={"her note": draw(st.text(max_size=12)), "thread": {"dye lot": 7}},
    )


@given(charts())
def test_chart_file_round_trip(chart):
    read = chart_from_bytes(chart_bytes(chart))
    assert read.same_stitches(chart)
    for name in ("title", "source", "fabric", "thread", "settings", "extra"):
        assert getattr(read, name) == getattr(chart, name)
    assert chart_bytes(read) == chart_bytes(chart)


@given(GRIDS, st.sampled_from([".pbm", ".txt"]))
def test_plain_grid_round_trip(cells, suffix):
    assert np.array_equal(chart_from_bytes(chart_bytes(Chart(cells=cells), suffix)).cells, cells)


@given(GRIDS)
def test_text_pbm_round_trip(cells):
    assert np.array_equal(cells_from_pbm(pbm_from_cells(cells, packed=False)), cells)


@given(GRIDS.filter(lambda cells: cells.any() and not cells.all()))
def test_one_pixel_png_round_trip(cells):
    assert np.array_equal(chart_from_bytes(chart_bytes(Chart(cells=cells), ".png")).cells, cells)


FEEP = """P1
# feep.pbm
24 7
0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0
0 1 1 1 1 0 0 1 1 1 1 0 0 1 1 1 1 0 0 1 1 1 1 0
0 1 0 0 0 0 0 1 0 0 0 0 0 1 0 0 0 0 0 1 0 0 1 0
0 1 1 1 0 0 0 1 1 1 0 0 0 1 1 1 0 0 0 1 1 1 1 0
0 1 0 0 0 0 0 1 0 0 0 0 0 1 0 0 0 0 0 1 0 0 0 0
0 1 0 0 0 0 0 1 1 1 1 0 0 1 1 1 1 0 0 1 0 0 0 0
0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0
"""


def test_netpbm_example():
    """Netpbm, pbm(5): the 24 x 7 example, 48 black cells; packed raster as listed."""
    cells = chart_from_bytes(FEEP.encode()).cells
    assert cells.shape == (7, 24)
    assert cells.sum() == 48
    assert pbm_from_cells(cells) == b"P4\n24 7\n" + bytes.fromhex("00000079e79e41041271c71e41041041e790000000")


def good():
    return {
        "format": "onecolour chart",
        "version": 1,
        "title": "Cup",
        "source": "",
        "rows": [".##.", "#..#"],
        "lines": [[[0, 0], [0, 1]]],
        "fabric": {"count_per_inch": 14.0, "over": 1, "colour": "#ffffff"},
        "thread": {"colour": "#b01e28", "name": "", "strands": 2, "line_strands": 1},
    }


WRONG = [
    ({"format": "other"}, "'format'"),
    ({"format": None}, "'format'"),
    ({"version": 2}, "'version'"),
    ({"version": "1"}, "'version'"),
    ({"version": True}, "'version'"),
    ({"title": 3}, "'title'"),
    ({"source": ["a"]}, "'source'"),
    ({"settings": []}, "'settings'"),
    ({"rows": None}, "'rows'"),
    ({"rows": []}, "'rows'"),
    ({"rows": "##"}, "'rows'"),
    ({"rows": [""]}, "row 1"),
    ({"rows": ["##", "#"]}, "row 2"),
    ({"rows": ["##", 7]}, "row 2"),
    ({"rows": ["##", "#x"]}, "row 2"),
    ({"rows": ["##", "# "]}, "row 2"),
    ({"rows": ["#é"]}, "row 1"),
    ({"rows": ["#" * 2001]}, "row 1"),
    ({"rows": ["#"] * 2001}, "'rows'"),
    ({"lines": {}}, "'lines'"),
    ({"lines": [7]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [0, 1]], [[0, 0]]]}, "'lines', line 2"),
    ({"lines": [[[0, 0], [0]]]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [0, "1"]]]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [0, True]]]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [0, 5]]]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [3, 0]]]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [-1, 0]]]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [0, 0.3]]]}, "'lines', line 1"),
    ({"lines": [[[0, 0], [0, 0]]]}, "'lines', line 1"),
    ({"fabric": 14}, "'fabric'"),
    ({"fabric": {"count_per_inch": 0}}, "'fabric'"),
    ({"fabric": {"count_per_inch": "14"}}, "'fabric'"),
    ({"fabric": {"over": 1.5}}, "'fabric'"),
    ({"fabric": {"colour": "white"}}, "'fabric'"),
    ({"thread": None}, "'thread'"),
    ({"thread": {"strands": 0}}, "'thread'"),
    ({"thread": {"colour": 7}}, "'thread'"),
    ({"thread": {"name": None}}, "'thread'"),
    ({"thread": {"line_strands": 9}}, "'thread'"),
]


@pytest.mark.parametrize(("change", "place"), WRONG)
def test_wrong_file_names_the_place(change, place):
    with pytest.raises(PictureError) as caught:
        chart_from_bytes(json.dumps({**good(), **change}).encode(), "cup.chart.json")
    assert place in caught.value.message
    assert "cup.chart.json" in caught.value.message
    assert caught.value.hint


@pytest.mark.parametrize(
    "data",
    [
        b"", b"  \n", b"{", b"[]", b"{}", b"[" * 100_000, b'{"format": NaN}', b"\xff\xfe", b"7", b"##\n#", b"#x",
        b"P1", b"P1 0 3", b"P1 2 2 1 0 1", b"P1 2 2 1 0 7 1", b"P4 9 2\n\x00", b"P4\n3000 2\n", b"P4\n-1 2\n",
        b"\x89PNG\r\n\x1a\n", b'{"format": "onecolour chart", "version": ' + b"9" * 5000 + b"}",
    ],
)  # fmt: skip
def test_broken_file_is_one_plain_error(data):
    with pytest.raises(PictureError) as caught:
        chart_from_bytes(data, "cup")
    assert "cup" in caught.value.message


@pytest.mark.parametrize("number", ["1e999", "-5e5555", "123456.5e400"])
@pytest.mark.parametrize("key", ["her note", "title"])
def test_a_number_without_end_is_refused_wherever_it_stands(key, number):
    """JSON allows any exponent, but what overflows could not be written back (RFC 8259, section 6)."""
    text = json.dumps({**good(), key: "HERE"}).replace('"HERE"', f'[{{"a": {number}}}]')
    with pytest.raises(PictureError) as caught:
        chart_from_bytes(text.encode(), "cup")
    assert "too large" in caught.value.message and number in caught.value.message


def test_missing_keys_have_sensible_values():
    raw = {key: good()[key] for key in ("format", "version", "rows")}
    chart = chart_from_bytes(json.dumps(raw).encode())
    assert chart.fabric == Fabric()
    assert chart.lines.shape == (0, 2, 2)


def test_a_windows_editor_may_add_a_byte_order_mark():
    assert chart_from_bytes(b"\xef\xbb\xbf" + json.dumps(good()).encode()).title == "Cup"


def test_unknown_keys_are_kept():
    raw = {**good(), "her note": {"a": [1, None]}, "thread": {**good()["thread"], "dye lot": "7"}}
    written = json.loads(chart_bytes(chart_from_bytes(json.dumps(raw).encode())))
    assert written["her note"] == {"a": [1, None]}
    assert written["thread"]["dye lot"] == "7"


def test_unknown_ending_is_refused(tmp_path):
    with pytest.raises(UsageError):
        save_chart(Chart(cells=[[1]]), tmp_path / "cup.xls")


def test_files_on_disk(tmp_path):
    chart = Chart(cells=[[1, 0]])
    path = save_chart(chart, tmp_path / "cup.chart.json")
    assert load_chart(path).same_stitches(chart)
    with pytest.raises(OutputError):
        save_chart(chart, path, overwrite=False)
    with pytest.raises(PictureError, match="no file"):
        load_chart(tmp_path / "none.chart.json")
    with pytest.raises(PictureError, match="folder"):
        load_chart(tmp_path)
