"""The vote of regions by their rims: by hand on small rooms, and against slow definitions."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.text_grids import shown
from scipy import ndimage

from converter.raster.vote import _ink_share, _level_of_edges, _sharply_bound, _two_kinds, _two_toned, vote_regions

SIDES = [(0, False), (1, False), (2, False), (3, False), (0, True)]
"""Quarter turns, and whether rows and columns are exchanged."""


def turned(array, turns, exchanged):
    return np.ascontiguousarray(np.rot90(array.T if exchanged else array, turns))


def slow_share(labels, band, dark_side, span):
    """Each pixel of the band votes for the last numbered region among its neighbours, with its contrast."""
    ink, every = np.zeros(labels.max() + 1), np.zeros(labels.max() + 1)
    for r, c in np.argwhere(band):
        who = labels[max(0, r - 1) : r + 2, max(0, c - 1) : c + 2].max()
        if who:
            every[who] += span[r, c]
            ink[who] += span[r, c] * dark_side[r, c]
    return np.divide(ink, every, out=np.zeros_like(ink), where=every > 0)


def test_votes_weigh_as_their_contrast():
    rng = np.random.default_rng(1)
    for share in (0.3, 0.6, 0.9):
        band = rng.random((20, 30)) < share
        labels, _ = ndimage.label(~band)
        dark_side, span = rng.random(band.shape) < 0.5, rng.random(band.shape).astype(np.float32)
        found = _ink_share(labels.astype(np.int32), labels.max() + 1, band, dark_side, span)
        assert found == pytest.approx(slow_share(labels, band, dark_side, span), abs=1e-6)
    none = _ink_share(np.zeros((3, 3), np.int32), 1, np.ones((3, 3), bool), np.ones((3, 3), bool), np.ones((3, 3)))
    assert none.tolist() == [0.0]


def test_very_many_regions_are_told_apart():
    """More than 16 bits count: each of 70,000 lone pixels has the votes of its own rim."""
    labels = np.zeros((3, 2 * 70_001), dtype=np.int32)
    labels[1, 1::2] = np.arange(1, 70_002)
    band = labels == 0
    dark_side = np.zeros(labels.shape, dtype=bool)
    dark_side[:, -3:] = True
    share = _ink_share(labels, 70_002, band, dark_side, np.ones(labels.shape, np.float32))
    assert share[-1] == 1 and not share[:-2].any()


def room(rows=14, cols=14, wall=2):
    """A room with a wall all round, of which the inner half is the dark side."""
    band = np.zeros((rows, cols), dtype=bool)
    band[3:-3, 3:-3] = True
    inner = np.zeros_like(band)
    inner[3 + wall : -3 - wall, 3 + wall : -3 - wall] = True
    dark_side = np.zeros_like(band)
    dark_side[4:-4, 4:-4] = True
    return band & ~inner, inner, dark_side


@pytest.mark.parametrize("side", SIDES)
def test_a_region_is_what_its_rim_says(side):
    band, inner, dark_side = room(14, 17)
    level = np.where(inner, -2.0, 0.0).astype(np.float32)
    span = np.ones(band.shape, np.float32)
    outer = ~band & ~inner
    for least in (1, int(outer.sum()), int(outer.sum()) + 1):
        ink, sure, large = (
            turned(each, *((-side[0], False) if not side[1] else side))
            for each in vote_regions(*(turned(a, *side) for a in (band, dark_side, span, level)), 2.0, least)
        )
        assert np.array_equal(ink, inner | (band & dark_side))
        expected = outer if least <= outer.sum() else np.zeros_like(outer)
        assert np.array_equal(sure, expected) and np.array_equal(large, expected)
    # The other way round it is a bare room in ink.
    ink, sure, large = vote_regions(band, ~dark_side, span, level, 2.0, 4.0)
    assert np.array_equal(ink, outer | (band & ~dark_side)) and np.array_equal(sure, inner)
    assert np.array_equal(large, inner)


@pytest.mark.parametrize(("wide", "large"), [(4, False), (5, True), (6, True)])
def test_regions_of_a_twentieth_of_all_paper_are_large(wide, large):
    """One of 95 pixels beside one of 4, 5 or 6 of a hundred or so."""
    band = np.zeros((1, 96 + wide), dtype=bool)
    band[0, 95] = True
    none, span = np.zeros(band.shape, dtype=bool), np.ones(band.shape, np.float32)
    ink, sure, much = vote_regions(band, none, span, np.zeros(band.shape, np.float32), 1.0, 1.0)
    assert not ink.any() and sure.sum() == 95 + wide and much[0, :95].all()
    assert (much[0, 96:].all() if large else not much[0, 96:].any()) and not much[0, 95]


def fading(wide, rows=30, cols=30):
    """One region whose left part is dark, with an edge all round that is dark where the region is."""
    plain = np.zeros((rows, cols), dtype=bool)
    plain[1:-1, 1:-1] = True
    dark = plain.copy()
    dark[:, 1 + wide :] = False
    dark_side = np.zeros_like(plain)
    dark_side[:, : 1 + wide] = True
    level = np.where(dark, -2.0, np.where(plain, 0.0, -1.0)).astype(np.float32)
    return ~plain, dark_side, np.ones(plain.shape, np.float32), level, dark


@pytest.mark.parametrize("side", SIDES)
def test_a_region_of_ink_that_fades_into_paper_is_parted_where_the_level_is_half_way(side):
    *planes, dark = fading(14)
    ink, sure, _ = vote_regions(*(turned(each, *side) for each in planes), 2.0, 9.0)
    inner = turned(~planes[0], *side)
    assert np.array_equal(ink & inner, turned(dark, *side)) and np.array_equal(sure & inner, inner & ~ink)


@pytest.mark.parametrize(
    ("wide", "contrast", "least", "parted"),
    [
        # Far less than half of the rim says ink, and the dark part has no edge on one side: a shadow on paper.
        (5, 2.0, 9.0, False),
        # Dark and bright differ by 2: at least 0.52 of the contrast.
        (14, 3.8, 9.0, True),
        (14, 3.9, 9.0, False),
        # Each must be as large as a region that counts: 14 x 28, of 28 x 28.
        (14, 2.0, 392.0, True),
        (14, 2.0, 393.0, False),
        # Three columns of 28: some 30 of 112 of the rim, too few.
        (3, 2.0, 9.0, False),
    ],
)
def test_what_is_not_parted_is_one_thing(wide, contrast, least, parted):
    *planes, dark = fading(wide)
    ink = vote_regions(*planes, contrast, least)[0] & ~planes[0]
    if parted:
        assert np.array_equal(ink, dark)
    else:
        assert ink[1:-1, 1:-1].all() or not ink.any()


def test_a_dark_chamber_with_a_narrow_door_is_ink():
    """Little of the rim says ink, but the dark part ends in an edge nearly all round."""
    plain = np.zeros((30, 40), dtype=bool)
    plain[2:28, 2:26] = True
    plain[10:20, 27:37] = True
    plain[14:16, 26] = True
    dark = np.zeros_like(plain)
    dark[10:20, 27:37] = True
    dark_side = np.zeros_like(plain)
    dark_side[9:21, 26:38] = True
    level = np.where(dark, -2.0, np.where(plain, 0.0, -1.0)).astype(np.float32)
    ink = vote_regions(~plain, dark_side, np.ones(plain.shape, np.float32), level, 2.0, 9.0)[0]
    assert np.array_equal(ink & plain, dark)


def slow_two_toned(labels, dark, level, contrast, least):
    out = []
    for k in range(labels.max() + 1):
        here = labels == k
        inked, bare = level[here & dark], level[here & ~dark]
        both = len(inked) >= least and len(bare) >= least
        far = (bare.mean() if len(bare) else 0) - (inked.mean() if len(inked) else 0) > 0.52 * contrast
        out.append(both and far)
    return out


def test_two_tones_by_their_means():
    rng = np.random.default_rng(2)
    labels = rng.integers(0, 12, (20, 30)).astype(np.int32)
    dark = rng.random(labels.shape) < labels / 12
    level = (rng.normal(0, 0.4, labels.shape) - dark).astype(np.float32)
    area = np.bincount(labels.ravel(), minlength=12)
    seen = set()
    for contrast in (1.5, 1.9, 2.1):
        for least in (1, 10, 20):
            found = _two_toned(labels, area, dark, level, contrast, least).tolist()
            assert found == slow_two_toned(labels, dark, level, contrast, least)
            seen |= set(found)
    assert seen == {True, False}


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize(("wide", "kept"), [(6, False), (7, True)])
def test_a_dark_part_with_less_than_a_quarter_of_its_outline_open(wide, kept, side):
    """Four rows high, open to the left: 4 pixels fade; 2 wide (above, below and at the right) end in edges."""
    here = np.zeros((8, 14), dtype=bool)
    here[2:6, 2 : 5 + wide] = True
    band, dark = ~here, here.copy()
    dark[:, :5] = False
    found = _sharply_bound(*(turned(each, *side) for each in (dark, here, band)))
    assert np.array_equal(found, turned(dark if kept else np.zeros_like(dark), *side))
    # What lies beyond the regions asked for is no open side.
    if side == (0, False):
        assert np.array_equal(_sharply_bound(dark, dark, band), dark)


def test_parts_of_two_masks_are_numbered_in_one_row():
    rng = np.random.default_rng(3)
    one = rng.random((12, 15)) < 0.4
    other = ~one & (rng.random(one.shape) < 0.6)
    labels, area = _two_kinds(one, other)
    for mask in (one, other):
        parts, count = ndimage.label(mask)
        of_part = [set(labels[parts == k].tolist()) for k in range(1, count + 1)]
        assert all(len(each) == 1 for each in of_part) and len(set.union(*of_part)) == count
    assert not labels[~one & ~other].any() and not set(labels[one].tolist()) & set(labels[other].tolist())
    assert area[1:].tolist() == np.bincount(labels.ravel())[1:].tolist()


def test_the_level_of_edges_is_that_of_the_edges_near_by():
    rng = np.random.default_rng(4)
    band = np.zeros((60, 80), dtype=bool)
    band[:, 10:13] = band[:, 60:63] = True
    level = rng.normal(5, 1, band.shape).astype(np.float32)
    level[:, 10:13], level[:, 60:63] = -1.0, -0.4
    found = _level_of_edges(level, band)
    assert found.shape == band.shape and found.dtype == np.float32
    assert found[:, 8:16] == pytest.approx(-1.0, abs=0.03) and found[:, 57:66] == pytest.approx(-0.4, abs=0.03)
    assert (found > -1.01).all() and (found < -0.39).all()


def test_nothing_but_band_or_nothing_but_paper():
    for band in (np.ones((5, 6), dtype=bool), np.zeros((5, 6), dtype=bool)):
        dark_side = np.arange(30).reshape(5, 6) % 2 == 0
        plane = np.ones(band.shape, np.float32)
        ink, sure, large = vote_regions(band, dark_side, plane, plane, 1.0, 4.0)
        assert np.array_equal(ink, band & dark_side)
        assert sure.all() == large.all() == (not band.any()) and shown(sure) == shown(large)
