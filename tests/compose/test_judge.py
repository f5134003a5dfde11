"""What looks wrong at a corner, a fold or a cut."""

from __future__ import annotations

import numpy as np
from helpers.text_grids import grid

from converter.compose.catalogue import strips
from converter.compose.judge import StripMeasure, line_features, pieces, shape_key
from converter.compose.profile import profile_of


def marks(cells):
    return [sorted(map(tuple, np.argwhere(line_features(cells)[..., k]).tolist())) for k in range(4)]


def test_features_by_hand():
    lone, end, fork, solid = marks(grid("#......", "..###..", "...#...", "...#.##", ".....##"))
    assert lone == [(0, 0)]
    assert end == [(3, 3)]
    assert solid == [(3, 5)]
    assert fork == [(1, 3)]
    assert marks(grid(".#.", "###", ".#."))[2] == [(1, 1)]
    assert marks(grid("#.#", ".#.", "#.#"))[2] == [(1, 1)]


def test_shape_key_is_the_same_for_turned_and_mirrored_pieces_only():
    piece = grid("##.", ".#.", ".##")
    forms = [piece, piece.T, piece[::-1], piece[:, ::-1], np.rot90(piece), np.rot90(piece[::-1])]
    assert len({shape_key(np.ascontiguousarray(form)) for form in forms}) == 1
    assert shape_key(grid("##", "#.")) != shape_key(grid("##", "##"))
    assert shape_key(grid("####")) != shape_key(grid("##", "##"))


def test_pieces_touch_by_corner_too():
    assert sorted(int(piece.sum()) for _, piece in pieces(grid("#..#", ".#..", "...#"))) == [1, 1, 2]


def test_measure_of_a_strip_of_pieces_and_of_a_line():
    hearts = StripMeasure(strips()["hearts"].tile)
    assert not hearts.running
    assert (hearts.smallest, hearts.widest) == (27, 7)
    zigzag = StripMeasure(strips()["zigzag"].tile)
    assert zigzag.running
    assert zigzag.smallest == 4
    assert not zigzag.has.any()


def test_a_halved_heart_is_foreign_and_broken_and_a_whole_one_is_not():
    measure = StripMeasure(strips()["hearts"].tile)
    whole = np.pad(np.tile(strips()["hearts"].tile, (1, 3)), ((0, 0), (1, 1)))
    none = np.zeros_like(whole)
    assert measure.judge(whole, none) == type(measure.judge(whole, none))()
    halved = whole.copy()
    halved[:, :4] = False
    verdict = measure.judge(halved, none)
    assert verdict.broken
    assert verdict.foreign == 1


def test_a_cut_line_has_an_end():
    measure = StripMeasure(strips()["zigzag"].tile)
    cut = np.pad(np.tile(strips()["zigzag"].tile, (1, 4)), ((0, 0), (1, 0)))
    open_edges = np.zeros_like(cut)
    open_edges[:, -1] = True
    assert measure.judge(cut, open_edges).clash == 1


def test_hearts_are_never_mitred_and_four_petals_only_whole():
    assert not any(spot.usable for spot in profile_of(strips()["hearts"]).mitres)
    petals = profile_of(strips()["four petals"])
    assert [phi for phi, spot in enumerate(petals.mitres) if spot.usable] == [0]


def test_own_piece_stands_at_block_corners_if_it_is_square_and_symmetric():
    strip = strips()["four petals"]
    assert np.array_equal(profile_of(strip).corner_piece, strip.tile[:, :7])


def test_many_places_at_once_are_judged_as_one_by_one():
    rng = np.random.default_rng(6)
    measure = StripMeasure(strips()["tulips"].tile)
    tulips = np.tile(strips()["tulips"].tile, (1, 3))
    places = np.stack([tulips & (rng.random(tulips.shape) < share) for share in (1, 0.97, 0.8, 0.5, 0.2, 0)])
    places = np.concatenate([places, places[:, ::-1], np.roll(places, 3, axis=2)])
    open_edges = np.zeros_like(tulips)
    open_edges[:, [0, -1]] = True
    count = np.zeros_like(tulips)
    count[:, :12] = True
    every = measure.judge_all(places, open_edges, count)
    for at, place in enumerate(places):
        one = measure.judge(place, open_edges, count)
        assert (every.clash[at], every.broken[at], every.foreign[at], every.novelty[at]) == (
            one.clash, one.broken, one.foreign, one.novelty,
        )  # fmt: skip
        # Counted anew from the pieces and features themselves.
        far = np.ones_like(place)
        far[:, [0, 1, -2, -1]] = False
        features = line_features(place)[far & count][:, ~measure.has].sum()
        assert one.clash == features
        closed = [p for box, p in pieces(place) if box[1].start > 0 and box[1].stop < place.shape[1]]
        assert one.broken == any(p.sum() < measure.smallest for p in closed)
        assert one.foreign == sum(shape_key(p) not in measure.shapes for p in closed)


def test_large_lots_are_judged_in_turn(monkeypatch):
    measure = StripMeasure(strips()["zigzag"].tile)
    rng = np.random.default_rng(1)
    places = rng.random((9, 5, 14)) < 0.4
    edges = np.zeros((5, 14), dtype=bool)
    whole = measure.judge_all(places, edges)
    monkeypatch.setattr("converter.compose.judge.MOST_CELLS", 2 * edges.size)
    parts = measure.judge_all(places, edges)
    for name in ("clash", "broken", "foreign", "novelty"):
        assert np.array_equal(getattr(whole, name), getattr(parts, name))
    assert whole.clash.any()


def test_a_line_is_cut_where_it_is_thinnest():
    profile = profile_of(strips()["tulip vine"])
    tile = profile.tile
    parted = (tile & np.roll(tile, 1, axis=1)).sum(axis=0)
    usable = [x for x in range(profile.period) if profile.cuts.usable[x]]
    # Through a flower costs more than through the stem between two, in runs that begin and in runs that end there.
    through, stem = max(usable, key=lambda x: parted[x]), min(usable, key=lambda x: parted[x])
    assert parted[through] > parted[stem]
    assert profile.cuts.cost[through] > profile.cuts.cost[stem]
    ends = profile.end_cuts
    after = [x for x in range(profile.period) if ends.usable[x]]
    costs = [ends.cost[x] for x in sorted(after, key=lambda x: parted[(x + 1) % profile.period])]
    assert costs[-1] > costs[0]
