"""Reading strips and naming them; pieces for corners and middles."""

from __future__ import annotations

import itertools

import pytest
from helpers.text_grids import shown

from converter.compose.catalogue import Strip, parse_grid, parse_sections, strip_named, strips
from converter.compose.rosettes import corner_piece, middle_piece, middle_width
from converter.errors import UsageError


def test_depth_is_rows_and_period_is_columns():
    strip = Strip("own", parse_grid(["##..", "..##"]))
    assert (strip.depth, strip.period, strip.group, strip.kind) == (2, 4, "p2mg", "own")
    assert strip.upright is False and strip.corner is None


def test_grids_are_read_row_by_row():
    assert parse_grid(["#.", ".#"]).tolist() == [[True, False], [False, True]]
    for rows, words in (([], "no rows"), (["##", "#"], "Row 2 .* 1 squares, row 1 has 2"), (["##", "#x"], "Row 2")):
        with pytest.raises(UsageError, match=words):
            parse_grid(rows)


def test_sections_of_a_data_file():
    text = "; a comment\nname: one\nkind: plant\n#.\n\n.#\ncorner:\n##\n##\nname: two words\n  #.#  \n"
    assert parse_sections(text) == [
        {"name": "one", "kind": "plant", "grid": ["#.", ".#"], "corner": ["##", "##"]},
        {"name": "two words", "grid": ["#.#"]},
    ]


def test_things_that_stand_are_marked_and_nothing_can_be_changed():
    known = strips()
    assert {name for name, strip in known.items() if strip.upright} >= {"hearts", "tulips", "firs", "ducks"}
    assert not any(known[name].upright for name in ("zigzag", "dots", "key", "laurel"))
    for strip in known.values():
        assert not strip.tile.flags.writeable
        assert strip.corner is None or not strip.corner.flags.writeable


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("tulip", "Did you mean tulips or tulip vine? "),
        ("zigzga", "Did you mean zigzag"),
        ("heart", "Did you mean small hearts or hearts? "),
        ("wwwwwwww", "There are: "),
        ("  ", "There are: "),
    ],
)
def test_a_name_nearly_right_is_suggested(name, hint):
    with pytest.raises(UsageError) as caught:
        strip_named(name)
    assert caught.value.hint.startswith(hint)
    assert all(known in caught.value.hint for known in strips())


def test_no_more_than_three_are_suggested():
    with pytest.raises(UsageError) as caught:
        strip_named("ers")
    meant = caught.value.hint.split("? ")[0]
    among = [name for name in strips() if "ers" in name]
    assert meant == "Did you mean " + " or ".join(among[:3])
    with pytest.raises(UsageError) as caught:
        strip_named("s")
    assert caught.value.hint.split("? ")[0].count(" or ") == 2


def test_names_in_any_spelling():
    for name in ("tulip vine", "Tulip  Vine", " TULIP_VINE", "tulip-vine"):
        assert strip_named(name) is strips()["tulip vine"]


# Pieces.


def test_a_piece_for_every_depth_is_drawn_up_to_twelve():
    assert [shown(corner_piece(size)) for size in (1, 2, 3, 4)] == [
        ["#"],
        ["##", "##"],
        [".#.", "###", ".#."],
        [".##.", "####", "####", ".##."],
    ]


@pytest.mark.parametrize("size", range(13, 41))
def test_larger_pieces_are_rings_a_stitch_wide(size):
    piece = corner_piece(size)
    assert not piece.flags.writeable
    # From the edge to the middle: a stitch, then one or two of bare cloth, and so on; no ring is thicker than two
    # beside the middle itself.
    row = piece[size // 2, : size // 2]
    runs = [(value, len(list(part))) for value, part in itertools.groupby(row.tolist())]
    assert runs[0] == (True, 1)
    assert all(length <= (3 if value else 2) for value, length in runs)
    assert all(length == 1 for value, length in runs[:-1] if value)
    # Round, not square: it reaches the middle of the sides and leaves the corners bare.
    assert piece[0, size // 2] and not piece[:2, :2].any()
    assert piece[size // 2, size // 2]


@pytest.mark.parametrize(
    ("depth", "odd", "width"),
    [(2, True, None), (3, True, 5), (3, False, 4), (4, True, 5), (4, False, 4), (5, True, 5), (5, False, 6),
     (9, True, 9), (9, False, 10), (12, False, 12), (12, True, 13)],
)  # fmt: skip
def test_least_width_of_a_middle_piece(depth, odd, width):
    """About half the depth and two more, never under four, and as deep as wide so that it is a whole piece."""
    assert middle_width(depth, odd) == width


def test_a_middle_piece_doubles_its_middle():
    assert shown(middle_piece(3, 3)) == [".#.", "###", ".#."]
    assert shown(middle_piece(3, 4)) == [".##.", "####", ".##."]
    assert shown(middle_piece(3, 5)) == [".###.", "#####", ".###."]
    assert shown(middle_piece(4, 5)) == [".###.", "#####", "#####", ".###."]
    assert shown(middle_piece(5, 6)) == ["..##..", ".#..#.", "#.##.#", ".#..#.", "..##.."]
    assert not middle_piece(4, 5).flags.writeable and not middle_piece(4, 4).flags.writeable
