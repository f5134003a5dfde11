"""Published scores of a binary picture against its ground truth."""

import numpy as np


def f_measure(truth, made):
    """F-measure of the DIBCO contests: 2 TP / (2 TP + FP + FN)."""
    hit = (truth & made).sum()
    return float(2 * hit / (2 * hit + (made & ~truth).sum() + (truth & ~made).sum()))


def drd_weights():
    """5 x 5 weights 1 / distance, centre 0, normalised."""
    y, x = np.mgrid[-2:3, -2:3]
    distance = np.hypot(y, x)
    weights = np.where(distance > 0, 1 / np.where(distance > 0, distance, 1), 0)
    return weights / weights.sum()


def drd(truth, made):
    """Distance reciprocal distortion (H. Lu, A. Kot, Y. Q. Shi, IEEE Signal Processing Letters 11(2), 2004)."""
    weights = drd_weights()
    wide = np.pad(truth, 2, mode="edge")
    total = 0.0
    for r, c in np.argwhere(truth != made):
        patch = wide[r : r + 5, c : c + 5]
        total += float((weights * (patch != made[r, c])).sum())
    blocks = 0
    for r in range(0, truth.shape[0], 8):
        for c in range(0, truth.shape[1], 8):
            block = truth[r : r + 8, c : c + 8]
            blocks += block.any() and not block.all()
    return round(total / max(1, blocks), 12)
