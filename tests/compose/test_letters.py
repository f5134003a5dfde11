"""Two alphabets: every glyph, accents, spacing, backstitch."""

from __future__ import annotations

import string

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.compose.judge import pieces
from converter.compose.letters import ALPHABETS, glyph, lines_from_cells, text_cells
from converter.errors import UsageError

LETTERS = string.ascii_letters + string.digits
PUNCTUATION = ".,:;!?-–+=/()'\"&"
ACCENTED = (
    "ÀÁÂÃÄÅÇÈÉÊËÌÍÎÏÑÒÓÔÕÖÙÚÛÜÝàáâãäåçèéêëìíîïñòóôõöùúûüýÿĄąĆćČčĎďĘęĚěĞğİıŁłŃńŇňŐőŒœŘřŚśŞşŠšŤťŮůŰűŹźŻżŽžÆæØøßÞþÐð"
)
texts = st.text(alphabet=LETTERS + PUNCTUATION + ACCENTED + " ", min_size=1, max_size=14).filter(lambda t: t.strip())
alphabets = st.sampled_from(ALPHABETS)
HEIGHT = {"small": 5, "large": 9}


@pytest.mark.parametrize("alphabet", ALPHABETS)
def test_capitals_and_digits_have_one_height(alphabet):
    for letter in string.ascii_uppercase + string.digits:
        found = glyph(letter, alphabet)
        rows = np.flatnonzero(found.cells.any(axis=1))
        assert rows[0] == 0, letter
        assert found.rise == HEIGHT[alphabet]
        if letter not in "Q":
            assert rows[-1] == HEIGHT[alphabet] - 1, letter


@pytest.mark.parametrize("alphabet", ALPHABETS)
def test_no_two_letters_are_alike(alphabet):
    seen = {}
    for letter in LETTERS + PUNCTUATION + ACCENTED:
        found = glyph(letter, alphabet)
        key = (found.rise, found.cells.shape, found.cells.tobytes())
        # The two dashes and the stroked D's are one shape each on so few squares.
        if letter in "ĐÐ–-":
            continue
        assert key not in seen, f"{letter} looks like {seen.get(key)}"
        seen[key] = letter


@pytest.mark.parametrize("alphabet", ALPHABETS)
def test_accented_letters_hold_their_base_and_stand_higher(alphabet):
    for letter, base in zip("ÀÉÎÕÜŠŮŐŻ", "AEIOUSUOZ", strict=True):
        found, plain = glyph(letter, alphabet), glyph(base, alphabet)
        assert found.rise > plain.rise
        below = found.cells[-plain.cells.shape[0] :]
        left = (below.shape[1] - plain.cells.shape[1]) // 2
        assert np.array_equal(below[:, left : left + plain.cells.shape[1]], plain.cells)
        blank = found.cells.shape[0] - plain.cells.shape[0] - 1
        assert not found.cells[blank].any()
    for letter in "ÇĘŞ":
        assert glyph(letter, alphabet).cells.shape[0] > glyph("C", alphabet).cells.shape[0]
        assert glyph(letter, alphabet).rise == HEIGHT[alphabet]


@pytest.mark.parametrize("alphabet", ALPHABETS)
def test_composed_and_decomposed_accents_are_the_same(alphabet):
    assert np.array_equal(text_cells("é", alphabet).cells, text_cells("e\u0301", alphabet).cells)
    # An i loses its dot under another mark.
    assert len(pieces(text_cells("i", alphabet).cells)) == 2
    assert len(pieces(text_cells("í", alphabet).cells)) == 2


def test_spacing_is_proportional():
    assert text_cells("i").width == 1
    assert text_cells("m").width == 5
    assert text_cells("ii").width == 3
    # A and V lean into each other.
    apart = text_cells("A", "large").width + text_cells("V", "large").width + 2
    assert text_cells("AV", "large").width < apart
    assert text_cells("HH").width == 2 * text_cells("H").width + 1


@given(texts, alphabets)
def test_letters_never_touch_each_other(text, alphabet):
    block = text_cells(text, alphabet)
    single = sum(len(pieces(glyph(letter, alphabet).cells)) for letter in text if not letter.isspace())
    assert len(pieces(block.cells)) == single
    assert block.cells[0].any() and block.cells[-1].any()
    assert block.cells[:, 0].any() and block.cells[:, -1].any()


@given(texts, alphabets)
def test_as_many_stitches_as_the_letters_have(text, alphabet):
    stitches = sum(int(glyph(letter, alphabet).cells.sum()) for letter in text if not letter.isspace())
    assert int(text_cells(text, alphabet).cells.sum()) == stitches


def test_wider_goes_into_the_first_word_space():
    for alphabet in ALPHABETS:
        plain, wide = text_cells("to Jo", alphabet), text_cells("to Jo", alphabet, wider=1)
        assert wide.width == plain.width + 1
        assert text_cells("Jo", alphabet, wider=1).width == text_cells("Jo", alphabet).width


@pytest.mark.parametrize("text", ["", "   ", "\n"])
def test_nothing_to_set_is_refused(text):
    with pytest.raises(UsageError):
        text_cells(text)


def test_an_unknown_letter_is_named():
    with pytest.raises(UsageError, match="Ж"):
        text_cells("Ж")
    with pytest.raises(UsageError, match="alphabet"):
        text_cells("A", "huge")


def test_dates_of_many_kinds_are_set():
    for date in ("14.2.1984", "2026-11-25", "25/11/26", "May 3, 1999", "’84", "№ 3".replace("№", "No")):
        assert text_cells(date).cells.any()


@given(texts)
def test_backstitches_follow_the_crosses(text):
    cells = text_cells(text).cells
    lines = lines_from_cells(cells)
    for (r0, c0), (r1, c1) in lines.tolist():
        assert (r0, c0, r1, c1) == (int(r0), int(c0), int(r1), int(c1))
        assert 0 <= min(r0, r1) <= max(r0, r1) <= cells.shape[0]
        assert max(abs(r1 - r0), abs(c1 - c0)) == 1
        lone = [
            (r, c) for r, c in ((int(r0), int(c0)), (int(r1), int(c1)))
            if r < cells.shape[0] and cells[r, c] and cells[max(r - 1, 0) : r + 2, max(c - 1, 0) : c + 2].sum() == 1
        ]  # fmt: skip
        assert lone or (cells[int(r0), int(c0)] and cells[int(r1), int(c1)])
    touched = {tuple(end) for line in lines.tolist() for end in line}
    assert all((float(r), float(c)) in touched for r, c in np.argwhere(cells).tolist())
    assert len({tuple(sorted(map(tuple, line))) for line in lines.tolist()}) == len(lines)


def test_backstitch_by_hand():
    corner = np.array([[1, 0], [1, 1]], dtype=bool)
    assert lines_from_cells(corner).tolist() == [[[0, 0], [1, 0]], [[1, 0], [1, 1]]]
    slope = np.array([[1, 0], [0, 1]], dtype=bool)
    assert lines_from_cells(slope).tolist() == [[[0, 0], [1, 1]]]
    dot = np.array([[1]], dtype=bool)
    assert lines_from_cells(dot).tolist() == [[[0, 0], [1, 0]]]
    low = np.array([[1, 1, 0, 0], [0, 0, 0, 0], [0, 0, 0, 1]], dtype=bool)
    assert lines_from_cells(low).tolist() == [[[0, 0], [0, 1]], [[1, 3], [2, 3]]]
