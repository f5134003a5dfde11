"""Reading squared paper: photos made with known truth, and what it must hold to whatever the photo."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from bench_squares import offset_of, score
from make_squared_paper import make_other, make_photo

from converter.errors import RequestError, UsageError
from converter.squares import DOUBTFUL, draw_overlay, looks_squared, marks, quick, read_squares
from converter.squares.patches import FlatSheet


def plain_paper(cells, side=16, margin=24, line=150):
    """Return squared paper drawn by arithmetic alone: gray lines, black squares."""
    rows, cols = cells.shape
    page = np.full((rows * side + 2 * margin + 1, cols * side + 2 * margin + 1), 250, np.uint8)
    for r, c in np.argwhere(cells):
        top, left = margin + r * side, margin + c * side
        page[top + 2 : top + side - 1, left + 2 : left + side - 1] = 30
    for i in range(rows + 1):
        page[margin + i * side, margin : margin + cols * side + 1] = line
    for j in range(cols + 1):
        page[margin : margin + rows * side + 1, margin + j * side] = line
    return page


@pytest.fixture(scope="module")
def motif():
    rng = np.random.default_rng(5)
    cells = rng.random((18, 22)) < 0.4
    cells[:2] = cells[-2:] = False
    cells[:, :3] = cells[:, -2:] = False
    return cells


@pytest.fixture(scope="module")
def plain(motif):
    return plain_paper(motif), read_squares(plain_paper(motif))


@pytest.fixture(scope="module")
def photo():
    return make_photo(
        4, "scan", pixels=20, squares=(22, 18), marks=["cross"], ink="black", lines=False, writing=0, frame=True
    )


@pytest.fixture(scope="module")
def photo_reading(photo):
    return read_squares(photo.image)


def test_drawn_squares_come_back_exactly(plain, motif):
    _page, reading = plain
    assert np.array_equal(reading.cells, motif)
    assert reading.confidence > 0.9
    assert reading.doubt.shape == motif.shape
    assert reading.corners.shape == (19, 23, 2)
    assert len(reading.lines) == 0


def test_corners_lie_on_the_drawn_lines(plain, motif):
    _page, reading = plain
    rows, cols = np.mgrid[0:19, 0:23]
    true = np.stack([24 + rows * 16, 24 + cols * 16], axis=-1)
    assert np.abs(reading.corners - true).max() < 1.0


def test_turning_the_sheet_turns_the_result(plain, motif):
    page, _reading = plain
    turned = read_squares(np.ascontiguousarray(np.rot90(page)))
    assert np.array_equal(turned.cells, np.rot90(motif))


def test_mirroring_the_sheet_mirrors_the_result(plain, motif):
    page, _reading = plain
    assert np.array_equal(read_squares(np.ascontiguousarray(page[:, ::-1])).cells, motif[:, ::-1])


def test_same_picture_same_reading(plain):
    page, reading = plain
    again = read_squares(page)
    assert np.array_equal(again.cells, reading.cells)
    assert np.array_equal(again.corners, reading.corners)
    assert np.array_equal(again.doubt, reading.doubt)


def test_gray_rgb_and_rgba_read_the_same(plain):
    page, reading = plain
    rgb = np.repeat(page[:, :, None], 3, axis=2)
    rgba = np.dstack([rgb, np.full(page.shape, 255, np.uint8)])
    assert np.array_equal(read_squares(rgb).cells, reading.cells)
    assert np.array_equal(read_squares(rgba).cells, reading.cells)


def test_half_the_light_changes_nothing(plain, motif):
    """Density differences do not depend on the exposure."""
    page, _reading = plain
    dark = (page.astype(np.float32) * 0.55).astype(np.uint8)
    assert np.array_equal(read_squares(dark).cells, motif)


def test_tilt_is_undone(motif):
    """The truth here is a homography applied by OpenCV, a general library, not by our own camera."""
    page = plain_paper(motif, side=24, margin=40)
    high, wide = page.shape
    source = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    target = np.array([[30, 40], [wide - 20, 5], [wide - 60, high - 30], [5, high - 10]], np.float32)
    matrix = cv2.getPerspectiveTransform(source, target)
    photo = cv2.warpPerspective(page, matrix, (wide, high), flags=cv2.INTER_AREA, borderValue=250)
    reading = read_squares(photo)
    assert np.array_equal(reading.cells, motif)
    holes = np.array([[[40.0, 40.0]], [[40.0 + 22 * 24, 40.0 + 18 * 24]]], np.float32)
    expected = cv2.perspectiveTransform(holes, matrix)[:, 0, ::-1]
    assert np.abs(reading.corners[0, 0] - expected[0]).max() < 1.5
    assert np.abs(reading.corners[-1, -1] - expected[1]).max() < 1.5


def test_crosses_by_hand_are_read(photo, photo_reading):
    result = score(photo, photo_reading, 0.0)
    assert result.grid
    assert result.wrong == 0


def test_crossings_agree_with_the_camera(photo, photo_reading):
    shift, agree = offset_of(photo, photo_reading.corners)
    assert agree
    assert shift.tolist() == [0, 0]
    assert np.abs(photo_reading.corners - photo.corners).max() < 0.15 * photo.facts["pixels"]


def test_marks_are_listed_with_counts(photo, photo_reading):
    assert sum(mark.count for mark in photo_reading.marks) == photo.cells.sum()
    for mark in photo_reading.marks:
        assert (photo_reading.kinds == mark.number).sum() == mark.count
        assert mark.sample.ndim == 3


def test_two_colours_are_two_marks_and_only_keeps_one():
    cells = np.zeros((16, 16), bool)
    cells[3:7, 3:13] = cells[9:13, 3:13] = True
    page = np.repeat(plain_paper(cells, side=20)[:, :, None], 3, axis=2)
    lower = page[24 + 9 * 20 : 24 + 13 * 20]
    lower[(lower == 30).all(axis=2)] = (200, 30, 40)
    reading = read_squares(page)
    assert [mark.count for mark in reading.marks] == [40, 40]
    assert np.array_equal(reading.cells, cells)
    red = next(m.number for m in reading.marks if int(m.colour[1:3], 16) > 120)
    kept = reading.only([red])
    assert kept.cells.sum() == 40
    assert kept.cells[9:13].sum() == 40
    assert np.array_equal(read_squares(page, only=[red]).cells, kept.cells)


def test_unknown_mark_is_refused(photo_reading):
    with pytest.raises(UsageError, match="no mark 99"):
        photo_reading.only([99])


def test_lines_along_the_grid_and_across_squares():
    cells = np.zeros((14, 16), bool)
    cells[9:12, 3:8] = True
    page = plain_paper(cells, side=20)

    def at(row, col):
        return 24 + col * 20, 24 + row * 20

    for a, b in (((3, 3), (3, 9)), ((3, 9), (6, 9)), ((5, 11), (7, 13))):
        cv2.line(page, at(*a), at(*b), 20, 4, cv2.LINE_AA)
    reading = read_squares(page)
    found = {tuple(map(tuple, sorted(line.tolist()))) for line in reading.lines}
    true = {((3.0, c), (3.0, c + 1.0)) for c in range(3, 9)} | {((r, 9.0), (r + 1.0, 9.0)) for r in range(3, 6)}
    true |= {((5.0, 11.0), (6.0, 12.0)), ((6.0, 12.0), (7.0, 13.0))}
    assert found == true
    assert np.array_equal(reading.cells, cells)


def test_corners_and_size_by_hand(motif):
    """Without printed lines there is nothing to find; her four corners are enough."""
    page = plain_paper(motif, line=250)
    end = 24 + np.array([18, 22]) * 16
    corners = [(24, 24), (24, end[1]), (end[0], end[1]), (end[0], 24)]
    reading = read_squares(page, size=(22, 18), corners=corners)
    assert np.array_equal(reading.cells, motif)


def test_size_by_hand_gives_that_size(plain):
    page, _reading = plain
    assert read_squares(page, size=(22, 18)).cells.shape == (18, 22)
    assert read_squares(page, size=(20, 17)).cells.shape == (17, 20)


def test_a_size_smaller_than_the_grid_is_said_and_one_far_larger_is_refused(plain):
    page, _reading = plain
    notes = read_squares(page, size=(20, 17)).notes
    assert any("22 x 18" in note and "left out" in note for note in notes)
    with pytest.raises(RequestError, match="90 x 18"):
        read_squares(page, size=(90, 18))


def test_paper_is_known_in_the_middle_of_a_wide_fill():
    """No bare square is near it; the light falls evenly from left to right."""
    side, cells = 10, np.zeros((50, 60), bool)
    cells[8:42, 8:50] = True
    light = np.linspace(0.0, 0.3, (60 + 1) * side)
    tone = np.pad(np.kron(cells, np.ones((side, side))), side // 2) * 0.8 + 0.1 + light
    sheet = FlatSheet(np.repeat(tone[:, :, None], 3, axis=2).astype(np.float32), side, *cells.shape)
    marking = marks.find_marks(sheet)
    assert np.array_equal(marking.marked, cells)
    expected = 0.1 + 0.3 * (np.arange(60) + 1) / 61
    assert np.abs(marking.paper.mean(axis=2) - expected).max() < 0.05


def test_a_grid_printed_to_the_edge_of_its_sheet_keeps_its_outer_column_of_marks():
    """The outer line lies between crosses and a dark table, where no line can be told."""
    photo = make_photo(2214, "scan")
    result = score(photo, read_squares(photo.image), 0.0)
    assert result.grid
    assert result.wrong == 0


def test_writing_adds_no_squares_though_there_is_more_of_it_than_of_the_motif():
    photo = make_photo(2630, "scan")
    assert photo.facts["writing"] == 3
    result = score(photo, read_squares(photo.image), 0.0)
    assert result.grid
    assert result.wrong == 0


@pytest.mark.parametrize(
    "wrong",
    [
        {"size": (0, 4)},
        {"size": (4, 2.5)},
        {"corners": [(0, 0), (0, 9), (9, 9)]},
        {"corners": [(0, 0), (90, 0), (90, 90), (0, 90)]},
        {"corners": [(0, 0), (0, np.nan), (9, 9), (9, 0)]},
    ],
)
def test_wrong_arguments_are_named(plain, wrong):
    with pytest.raises(UsageError):
        read_squares(plain[0], **wrong)


@pytest.mark.parametrize("kind", ["text", "cloth", "tiles", "drawing", "knitting", "ruled"])
def test_other_pictures_are_no_charts(kind):
    assert read_squares(make_other(3, kind)).confidence < 0.5


@pytest.mark.parametrize(
    "image", [np.full((300, 400), 255, np.uint8), np.zeros((5, 5, 3), np.uint8), np.zeros((1, 900), np.uint8)]
)
def test_pictures_without_anything_are_no_charts(image):
    reading = read_squares(image)
    assert reading.confidence < 0.5
    assert reading.cells.shape == reading.doubt.shape
    assert looks_squared(image) < 0.5


def test_quick_look_agrees(plain, photo):
    assert looks_squared(plain[0]) > 0.5
    assert looks_squared(photo.image) > 0.5


def test_overlay_marks_grid_and_doubt(plain):
    page, reading = plain
    doubt = np.zeros(reading.cells.shape)
    doubt[4, 5] = DOUBTFUL
    from dataclasses import replace

    calm = draw_overlay(page, replace(reading, doubt=np.zeros_like(doubt)))
    pointed = draw_overlay(page, replace(reading, doubt=doubt))
    # drawn larger where squares are small, in all directions alike
    scale = calm.shape[0] / page.shape[0]
    assert calm.shape == (round(page.shape[0] * scale), round(page.shape[1] * scale), 3)
    changed = np.argwhere((calm != pointed).any(axis=2)) / scale
    middle = reading.corners[4:6, 5:7].reshape(-1, 2).mean(axis=0)
    assert len(changed)
    assert np.abs(changed - middle).max() < 14


def test_reading_is_read_only(plain):
    with pytest.raises(ValueError, match="read-only"):
        plain[1].cells[0, 0] = True


def test_score_sees_a_wrong_square(photo, photo_reading):
    """The comparison itself fails when it should."""
    from dataclasses import replace

    cells = photo_reading.cells.copy()
    cells[0, 0] = ~cells[0, 0]
    assert score(photo, replace(photo_reading, cells=cells), 0.0).wrong == 1
    assert not score(photo, replace(photo_reading, corners=photo_reading.corners + 40), 0.0).grid


def test_a_drawing_on_clean_paper_is_told_at_a_glance(photo):
    drawing = np.full((600, 800), 250, np.uint8)
    drawing[200:220, 100:700] = 20
    assert quick.busy_share(drawing) < quick.LEAST_BUSY / 2
    gray = np.asarray(photo.image).mean(axis=2).astype(np.uint8)
    assert quick.busy_share(gray) > quick.LEAST_BUSY


@pytest.mark.parametrize("seed", [2703, 2707, 2725])
def test_tiles_that_each_have_their_own_tone_are_no_paper(seed):
    assert read_squares(make_other(seed, "tiles")).confidence < 0.1


@pytest.mark.parametrize("seed", [2625, 3205])
def test_a_weave_is_no_paper_though_its_threads_cross_as_evenly_as_lines(seed):
    assert read_squares(make_other(seed, "cloth")).confidence < 0.1


def test_a_plain_weave_alternates_and_printed_squares_do_not():
    """Squares of 24 pixels, 8 by 9: threads that bulge by turns, printed lines, and a draughts board drawn on them."""
    side, rows, cols = 24, 8, 9
    at = (np.arange(side) + 0.5) / side
    grain = np.random.default_rng(4).normal(0, 0.01, (rows * side + side, cols * side + side))

    def woven(r, c):
        across, along = np.sin(np.pi * at), 0.6 + 0.4 * np.sin(np.pi * at)
        bulge = np.outer(along, across)
        return 0.3 * (1 - (bulge if (r + c) % 2 == 0 else bulge.T))

    def printed(r, c):
        return 0.3 * ((at[:, None] < 0.06) | (at[None, :] < 0.06))

    def laid(square, marked):
        inner = np.block([[square(r, c) + 0.8 * marked[r, c] for c in range(cols)] for r in range(rows)])
        dense = grain + np.pad(inner, side // 2, mode="edge")
        sheet = FlatSheet(np.repeat(dense[:, :, None], 3, axis=2), side, rows, cols)
        nothing = np.zeros((rows, cols))
        marking = marks.Marking(marked, nothing, nothing, 0.1, np.zeros((rows, cols, 3)), nothing > 0, nothing)
        return marks.weave(sheet, marking, np.zeros((rows, cols), dtype=bool))

    bare = np.zeros((rows, cols), dtype=bool)
    board = np.add.outer(np.arange(rows), np.arange(cols)) % 2 == 0
    assert laid(woven, bare) > 5
    assert laid(printed, bare) < 0.6
    assert laid(printed, board) == 0


@pytest.mark.parametrize("side", [8, 10, 16, 25])
@pytest.mark.parametrize("tones", [(255, 204), (255, 230), (153, 102)])
def test_a_chequered_ground_is_no_squared_paper(fixtures, side, tones):
    """A program's sign for a clear picture, saved into it."""
    drawing = cv2.imread(str(fixtures / "pictures" / "teapot.png"), cv2.IMREAD_GRAYSCALE)
    row, col = np.indices(drawing.shape) // side
    ground = np.where((row + col) % 2, tones[0], tones[1])
    assert looks_squared((ground * (0.1 + 0.9 * drawing / 255)).astype(np.uint8)) < 0.5


def test_only_chequered_squares_are_taken_for_such_a_ground(plain, photo):
    for image in (plain[0], photo.image):
        gray = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
        for pitch in (7.0, 12.5, 18.0, 30.0):
            assert not quick.is_chequered(gray, pitch)
    row, col = np.indices((120, 160)) // 10
    chequered = np.where((row + col) % 2, 250, 200).astype(np.uint8)
    assert quick.is_chequered(chequered, 10.0)
    assert not quick.is_chequered(chequered, 20.0)
    assert not quick.is_chequered(chequered[:15, :15], 10.0)
    # Every second square of a motif filled.
    assert not quick.is_chequered(np.where(chequered > 220, 250, 40).astype(np.uint8), 10.0)
