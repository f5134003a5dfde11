"""Grids that dense marks and wide fills make beside the printed one."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
sys.path.insert(0, str(Path(__file__).parent))

from bench_squares import score
from make_squared_paper import make_photo
from test_drawn_sheets import COLS, ROWS, SIDE, blank_sheet, dotted, hole, middle, soft

from converter.squares import density, kinds, marks, mesh, patches, perspective, proof, read_squares, reading, sides


def cross(page, r, c, ink, rng):
    """Draw a cross by hand: from about one corner to about another."""
    corners = np.array([[2, 2], [SIDE - 2, SIDE - 2], [2, SIDE - 2], [SIDE - 2, 2]]) + hole(r, c)
    ends = (corners + rng.integers(-2, 3, (4, 2))).tolist()
    cv2.line(page, ends[0], ends[1], ink, 2, cv2.LINE_AA)
    cv2.line(page, ends[2], ends[3], ink, 2, cv2.LINE_AA)


@pytest.mark.parametrize(
    ("level", "seed"),
    [
        ("scan", 5476),  # dense crosses, which show firmer lines on more of the picture than the paper does
        ("scan", 5734),  # five hatched squares by themselves
        ("scan", 5817),  # one mark, and a word of fifteen squares
        ("normal", 5716),  # wide rings of fills with light lines between them
    ],
)
def test_dense_marks_and_wide_fills_are_read(level, seed):
    photo = make_photo(seed, level)
    assert score(photo, read_squares(photo.image), 0.0).wrong == 0


def test_the_printed_grid_is_proven_on_bare_paper_and_the_one_that_crosses_make_is_not():
    page = blank_sheet(20, 20)
    rng = np.random.default_rng(4)
    for r in range(3, 13):
        for c in range(3, 17):
            cross(page, r, c, (50, 50, 50), rng)
    dense = density.density(soft(page))
    sight = sides.Sight(density.gray(dense), density.ink(dense))
    r, c = np.mgrid[:21, :21].astype(float)
    printed = mesh.measure(sight, np.stack([r, c], axis=-1) * SIDE + hole(0, 0)[0] - 0.5)
    turned = np.stack([hole(0, 0)[0] + (r + c - 10) * SIDE / 2, hole(0, 0)[0] + (c - r + 10) * SIDE / 2], axis=-1)
    crosses = mesh.measure(sight, turned - 0.5)
    own, other = (proof.proof_of(sight, fit, 1.0, page.shape[:2]) for fit in (crosses, printed))
    assert proof.outdone(crosses, 1.0, own, printed, 1.0, other)
    assert not proof.outdone(printed, 1.0, other, crosses, 1.0, own)
    row, col = other.middle
    assert row >= 13 or row < 3 or col < 3 or col >= 17


def test_a_flat_sheet_is_known_through_crossings_of_which_some_lie_astray():
    """By the formula of a pinhole camera."""
    r, c = np.mgrid[:24, :30].astype(float)
    depth = 1.4 - 0.01 * r + 0.006 * c
    true = np.stack([30 * r / depth, 30 * c / depth], axis=-1)
    seen = true.copy()
    seen[5:14, 8:20] += (11.0, 3.0)
    weight = np.ones(r.shape)
    apart = np.hypot(*np.moveaxis(perspective.flat_sheet(seen, weight, robust=True) - true, 2, 0))
    assert apart.max() < 0.5
    # not so if each crossing counts as much as all others
    assert np.hypot(*np.moveaxis(perspective.flat_sheet(seen, weight) - true, 2, 0)).max() > 2.0


def test_paper_between_two_fills_is_seen_and_their_edges_are_no_lines():
    """Fills that leave a little paper along the printed lines, which hardly show there."""
    image = np.full((9 * SIDE, 9 * SIDE), 0.05, np.float32)
    for r in range(9):
        for c in range(9):
            image[r * SIDE + 2 : (r + 1) * SIDE - 1, c * SIDE + 2 : (c + 1) * SIDE - 1] = 0.8
    image = cv2.GaussianBlur(image, (0, 0), 1.0)
    r, c = np.mgrid[2:8, 2:8].astype(float)
    seen = sides.measure_sides(sides.Sight(image, image), np.stack([r, c], axis=-1) * SIDE, 1)
    assert (seen.gap > 0.2).all()
    assert (seen.gap > seen.height).all()
    assert np.abs(seen.gap_offset).max() < 0.1


def test_scattered_dots_of_many_sizes_are_no_words():
    page = blank_sheet()
    found = np.zeros((ROWS, COLS), bool)
    places = [(2, 3), (3, 3), (2, 5), (9, 4), (9, 6), (10, 5), (4, 12), (12, 14), (12, 12), (13, 13)]
    for k, at in enumerate(places):
        found[at] = True
        cv2.circle(page, middle(*at), 3 + k % 3, (190, 90, 110), -1, cv2.LINE_AA)
    assert np.array_equal(read_squares(soft(page)).cells, found)


def test_a_clean_stroke_amid_crosses_is_a_stroke():
    page = blank_sheet()
    found = np.zeros((ROWS, COLS), bool)
    found[4:12, 5:14] = True
    found[7, 9] = False
    rng = np.random.default_rng(4)
    for r, c in np.argwhere(found):
        cross(page, r, c, (200, 90, 110), rng)
    cv2.line(page, hole(7, 9), hole(8, 10), (40, 40, 160), 3, cv2.LINE_AA)
    read = read_squares(soft(page))
    assert np.array_equal(read.cells, found)
    assert read.lines.tolist() == [[[7.0, 9.0], [8.0, 10.0]]]


def test_a_square_is_amid_marks_if_six_of_the_eight_round_it_are_marked():
    marked = np.ones((3, 3), bool)
    marked[0, 0] = marked[1, 1] = marked[2, 1] = False
    assert reading._amid(marked)[1, 1]
    marked[2, 2] = False
    assert not reading._amid(marked)[1, 1]


def test_what_is_loosely_like_marks_is_judged_by_how_unlike_they_are():
    """Dots of one size are all alike, so that a ring is not like them; it is among dots of many sizes."""
    page = blank_sheet()
    cells = np.zeros((ROWS, COLS), bool)
    cells[3:9, 3:9] = True
    alone = np.zeros_like(cells)
    alone[5, 5] = True
    dotted(page, cells)
    read = sheet_of(page)
    x, y = hole(5, 5)
    page[y + 1 : y + SIDE - 1, x + 1 : x + SIDE - 1] = 245
    cv2.circle(page, middle(5, 5), 6, (30, 30, 30), 1, cv2.LINE_AA)
    ringed = sheet_of(page)
    assert kinds.like_marks(*read, cells & ~alone, alone, loosely=True)[5, 5]
    assert not kinds.like_marks(*ringed, cells & ~alone, alone, loosely=True)[5, 5]


def sheet_of(page):
    """Return a drawn sheet laid flat, and its paper."""
    r, c = np.indices((ROWS + 1, COLS + 1))
    sheet = patches.lay_flat(page, np.stack([r, c], axis=-1) * SIDE + hole(0, 0)[0] - 0.5, 20)
    return sheet, marks.find_marks(sheet).paper


def test_crosses_have_something_thin_in_them_and_an_even_table_has_not():
    page = blank_sheet()
    rng = np.random.default_rng(4)
    crosses, table = np.zeros((2, ROWS, COLS), bool)
    crosses[2:8, 2:8] = True
    table[10:14] = True
    for r, c in np.argwhere(crosses):
        cross(page, r, c, (50, 50, 50), rng)
    page[hole(10, 0)[1] : hole(14, 0)[1]] = (110, 120, 115)
    sheet, _paper = sheet_of(page)
    plain = np.full((ROWS, COLS, 3), density.density(np.full((1, 1, 3), 245, np.uint8))[0, 0, 0])
    part = marks.thin_strength(sheet) / (marks.strength(marks.inner(sheet), plain) + 0.01)
    assert part[crosses].min() > 3 * part[table].max()


def test_in_the_edge_of_a_shadow_colour_tells_ink():
    insides = np.zeros((2, 3, 8, 8, 3), np.float32) + 0.2
    insides[0, 1] += 0.4  # a shadow
    insides[1, 1] += (0.5, 0.2, 0.1)  # blue ink
    strength = marks._coloured(insides, np.full((2, 3, 3), 0.2, np.float32), np.zeros((2, 3)))
    assert strength[1, 1] > 0.2
    assert (np.delete(strength.ravel(), 4) < 0).all()
