"""Millimetre paper: blocks of fine squares are read as one square, what is too small is refused with a reason."""

import cv2
import numpy as np

from converter.squares import SURE, pitch, read_squares


def millimetre_paper(blocks, pixels):
    """Return paper with heavier fifth and tenth lines on which whole blocks of 5 by 5 squares are filled."""
    rows, cols = blocks.shape[0] * 5, blocks.shape[1] * 5
    page = np.full((rows * pixels + 60, cols * pixels + 60, 3), 245, np.uint8)
    for i in range(rows + 1):
        heavy = int(i % 10 == 0) + int(i % 5 == 0)
        page[30 + i * pixels : 31 + i * pixels + heavy, 30 : 30 + cols * pixels] = (120, 170, 200)
    for j in range(cols + 1):
        heavy = int(j % 10 == 0) + int(j % 5 == 0)
        page[30 : 30 + rows * pixels, 30 + j * pixels : 31 + j * pixels + heavy] = (120, 170, 200)
    side = 5 * pixels
    for r, c in np.argwhere(blocks):
        part = page[30 + r * side + 2 : 30 + (r + 1) * side - 1, 30 + c * side + 2 : 30 + (c + 1) * side - 1]
        part[:] = (part * 0.25).astype(np.uint8)
    return cv2.GaussianBlur(page, (0, 0), 0.7)


def random_blocks(rows, cols):
    blocks = np.random.default_rng(3).random((rows, cols)) < 0.3
    blocks[0] = False
    return blocks


def test_filled_blocks_are_one_square_each():
    blocks = random_blocks(8, 10)
    reading = read_squares(millimetre_paper(blocks, 14))
    assert np.array_equal(reading.cells, blocks)
    assert any("blocks of 5 x 5" in note for note in reading.notes)


def test_small_squares_are_refused_with_a_reason_and_read_by_hand():
    blocks = random_blocks(12, 16)
    page = millimetre_paper(blocks, 8)
    reading = read_squares(page)
    assert reading.confidence < SURE
    assert any("too small to be read" in note for note in reading.notes)
    bottom, right = 30 + 12 * 40, 30 + 16 * 40
    by_hand = read_squares(page, size=(16, 12), corners=[(30, 30), (30, right), (bottom, right), (bottom, 30)])
    assert np.array_equal(by_hand.cells, blocks)


def test_a_look_at_a_part_outside_the_picture_gives_nothing():
    rows, cols = np.mgrid[0:5, 0:5] * 20.0
    source = pitch.Source(np.full((200, 200, 3), 255, np.uint8), np.full(3, 1 / 3, np.float32))
    assert source.near(np.stack([rows + 900, cols], axis=-1), 16.0) is None
    assert source.near(np.stack([rows + 20, cols + 20], axis=-1), 16.0) is not None
