"""Parts of the picture kept in full detail or left out."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from converter.errors import ConverterError
from converter.files.picture import load_picture
from converter.jobs.piece_areas import areas_on, masks_of
from converter.model.chart import Chart
from tests.page.hands import Hands, cells_of, run_command


def mark(piece, do, box):
    view = piece.view
    body = {"area": {"rows": view["rows"], "columns": view["columns"], "do": do, "box": box}}
    piece.answer = piece.studio.step(piece.id, {**body, "label": "part", "revision": piece.answer["revision"]})
    return piece.answer


def box_on_picture(area, placement):
    """Return the corners of a part of the view in pixels of the picture."""
    return np.column_stack([np.array(area["corners"]), np.ones(4)]) @ placement.T


def made_of(piece):
    state = piece.studio.workspace.history(piece.id).state
    return piece.studio._bench(piece.id, state).make(state)


def test_masks_are_the_pixels_whose_middle_lies_inside_and_later_parts_count():
    square = {"do": "clear", "corners": [[0, 0], [0, 50], [50, 50], [50, 0]]}
    keep, clear = masks_of({"1": square}, (4, 8))
    assert keep is None and clear.sum() == 8 and clear[:2, :4].all()
    # Worked by hand: a square on its tip, half diagonal 2 px, about the middle of 6 x 6 pixels. The middles of the
    # pixels lie at odd halves, so those with |dr| + |dc| <= 2 are 12.
    tip = {"do": "keep", "corners": [[100 / 6, 50], [50, 500 / 6], [500 / 6, 50], [50, 100 / 6]]}
    keep, clear = masks_of({"1": tip}, (6, 6))
    assert keep.sum() == 12 and np.array_equal(keep, keep[::-1, ::-1]) and clear is None
    # The tenth part comes after the second one.
    whole = [[0, 0], [0, 100], [100, 100], [100, 0]]
    keep, clear = masks_of({"10": square, "2": {"do": "keep", "corners": whole}}, (4, 8))
    assert clear.sum() == 8 and keep.sum() == 24 and not (keep & clear).any()


def test_parts_come_back_onto_the_chart_where_they_were_marked():
    placement = np.array([[9.5, 1.0, 12.0], [-1.0, 9.5, 30.0]])
    chart = Chart(cells=np.zeros((20, 10), dtype=np.bool_), placement=placement)
    corners = (np.array([[2, 3, 1], [2, 7, 1], [9, 7, 1], [9, 3, 1.0]]) @ placement.T) * 100 / (400, 200)
    shown = areas_on({"3": {"do": "keep", "corners": corners.tolist()}}, chart, (400, 200))
    assert shown[0]["name"] == "3"
    assert np.allclose(shown[0]["corners"], [[2, 3], [2, 7], [9, 7], [9, 3]], atol=1e-3)


def test_part_left_out_is_bare_stays_on_the_picture_and_can_be_undone(key):
    before = cells_of(key.view)
    made = made_of(key)
    rows = np.flatnonzero(before.any(axis=1))
    middle = int(rows[len(rows) // 2])
    box = [middle - 2, 0, 4, before.shape[1]]
    answer = mark(key, "clear", box)
    area = answer["view"]["areas"][0]
    assert area["do"] == "clear" and answer["undo"] == "part"
    on_picture = box_on_picture(area, made_of(key).chart.placement)
    first = made.chart.placement @ [middle - 2, 0, 1]
    assert np.allclose(on_picture[0], first, atol=0.1)
    top, left = np.floor(np.array(area["corners"]).min(axis=0)).astype(int)
    bottom, right = np.ceil(np.array(area["corners"]).max(axis=0)).astype(int)
    within = cells_of(key.view)[max(0, top) + 1 : bottom - 1, max(0, left) : right]
    assert within.size and not within.any()
    # Another width: the same place of the picture.
    key.change(options={"wide": 34})
    moved = box_on_picture(key.view["areas"][0], made_of(key).chart.placement)
    assert np.allclose(moved, on_picture, atol=0.1)
    key.undo()
    key.undo()
    assert key.view["areas"] == [] and np.array_equal(cells_of(key.view), before)
    key.redo()
    body = {"area": {"drop": area["name"]}, "label": "back", "revision": key.answer["revision"]}
    key.answer = key.studio.step(key.id, body)
    assert key.view["areas"] == [] and np.array_equal(cells_of(key.view), before)


def test_files_are_those_of_the_command_with_the_same_masks(key, small_key, tmp_path):
    rows = key.view["rows"]
    mark(key, "clear", [rows - 9, 0, 6, 24])
    mark(key, "keep", [2, 2, 8, 12])
    key.change(settings={"detail": 10})
    areas = key.studio.workspace.history(key.id).state["areas"]
    shape = load_picture(small_key).shape[:2]
    options = []
    for name, mask in zip(("keep", "clear"), masks_of(areas, shape), strict=True):
        assert mask is not None
        Image.fromarray(np.where(mask, 0, 255).astype(np.uint8)).save(tmp_path / f"{name}.png")
        options += [f"--{name}", tmp_path / f"{name}.png"]
    run_command("chart", small_key, "--wide", "24", "--lines", "none", "--detail", "10", *options, "--out", tmp_path)
    for kind, name in (
        ("chart-file", "key.chart.json"),
        ("chart-picture", "key.png"),
        ("leaflet", "key.pdf"),
        ("figures", "key.report.json"),
    ):
        assert key.studio.take(key.id, kind).data == (tmp_path / name).read_bytes(), name


def test_part_kept_in_full_detail_keeps_more_than_a_bold_chart_does(studio, fixtures):
    """The fern at its boldest loses its fine parts; kept in full detail it has what the usual chart has."""
    piece = Hands(studio, fixtures / "pictures" / "fern.png", settings={"lines": "none", "detail": 0})
    bold = cells_of(piece.view)
    mark(piece, "keep", [0, 0, *bold.shape])
    kept = made_of(piece).chart
    piece.change(settings={"detail": None})
    piece.answer = piece.studio.step(
        piece.id, {"area": {"drop": "1"}, "label": "back", "revision": piece.answer["revision"]}
    )
    usual = made_of(piece).chart
    assert kept.cells.shape == usual.cells.shape
    assert (kept.cells != usual.cells).mean() < 0.02
    assert bold.shape != usual.cells.shape or (bold != usual.cells).sum() > (kept.cells != usual.cells).sum()


def test_guess_leaves_out_what_is_left_out(key):
    mark(key, "clear", [0, 0, 12, 24])
    area = np.array(key.view["areas"][0]["corners"])
    view = key.studio.preview(key.id, {"change": {"settings": {"dark": 60}}})["view"]
    bottom = int(area[:, 0].max())
    assert not cells_of(view)[: max(0, bottom - 1)].any()


@pytest.mark.parametrize(
    "area",
    [
        None,
        [],
        {"drop": "1"},
        {"drop": 1},
        {"do": "keep"},
        {"do": "burn", "box": [0, 0, 2, 2]},
        {"do": "keep", "box": [0, 0, 2]},
        {"do": "keep", "box": [0, 0, 2, "2"]},
        {"do": "keep", "box": [-9, -9, 2, 2]},
        {"do": "keep", "box": [0, 0, 0, 5]},
        {"do": "clear", "box": [-900, -900, 9000, 9000]},
    ],
)
def test_part_that_makes_no_sense_is_refused_and_changes_nothing(key, area):
    if isinstance(area, dict) and "drop" not in area:
        area = {"rows": key.view["rows"], "columns": key.view["columns"], **area}
    before = key.studio.piece(key.id)
    with pytest.raises(ConverterError) as refused:
        key.studio.step(key.id, {"area": area, "label": "x", "revision": before["revision"]})
    if isinstance(area, dict) and area.get("box") == [-900, -900, 9000, 9000]:
        assert "Nothing of the picture would be left" in str(refused.value)
    assert key.studio.piece(key.id) == before


def test_chart_file_has_no_picture_to_mark(studio, fixtures):
    star = Hands(studio, fixtures / "charts" / "star.chart.json")
    with pytest.raises(ConverterError, match="no picture"):
        mark(star, "clear", [0, 0, 3, 3])
