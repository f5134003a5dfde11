"""What looks wrong where a strip turns a corner, is folded, cut or widened: measured against the strip itself.

A drawn place is compared with the endless strip it was made from:

- *clash*: crosses that stand alone, ends of lines, forks of lines and solid 2 x 2 squares, each counted only if
  the strip itself has none of that kind;
- *broken*: a piece (crosses that touch by side or corner) smaller than the smallest piece of the strip;
- *foreign*: a closed piece whose shape, turned and mirrored as one likes, does not occur in the strip: two halves
  grown together, or a half that is left alone;
- *novelty*: crosses whose 3 x 3 surround does not occur in the strip, turned and mirrored as one likes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from converter.model.arrays import CellArray

_RING = ((-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1))
KINDS = ("lone", "end", "fork", "solid")

FeatureArray = npt.NDArray[np.bool_]
"""(rows, cols, 4): lone cross, line end, fork, corner of a solid 2 x 2 square."""


MOST_CELLS = 2_000_000
"""Cells that are judged at once; more are taken in turn, to keep the memory small."""


def _surround_codes(cells: CellArray) -> npt.NDArray[np.uint8]:
    """Return the eight neighbours of every cell as bits, going round from the top left; outside is blank."""
    rows, cols = cells.shape
    padded = np.zeros((rows + 2, cols + 2), dtype=np.uint8)
    padded[1:-1, 1:-1] = cells
    code = np.zeros((rows, cols), dtype=np.uint8)
    for bit, (r, c) in enumerate(_RING):
        code |= padded[1 + r : 1 + r + rows, 1 + c : 1 + c + cols] << np.uint8(bit)
    return code


def _feature_table() -> npt.NDArray[np.bool_]:
    """(256, 4): which of `KINDS` a cross with these neighbours is."""
    table = np.zeros((256, 4), dtype=np.bool_)
    for code in range(256):
        ring = [(code >> k) & 1 for k in range(8)]
        arms = sum(not ring[k - 1] and ring[k] for k in range(8))
        # Neighbours 3, 4 and 5 are right, lower right and below.
        table[code] = (sum(ring) == 0, sum(ring) == 1, arms >= 3, bool(ring[3] and ring[4] and ring[5]))
    return table


_FEATURES = _feature_table()


def line_features(cells: CellArray) -> FeatureArray:
    """Return where a grid has lone crosses, line ends, forks and solid 2 x 2 squares.

    Parameters
    ----------
    cells : ndarray of shape (rows, cols), bool

    Returns
    -------
    features : ndarray of shape (rows, cols, 4), bool
        In the order of `KINDS`. A solid square is marked at its top left cross.
    """
    return np.asarray(_FEATURES[_surround_codes(cells)] & cells[:, :, None])


def _same_form_table() -> npt.NDArray[np.int16]:
    """Smallest code among the eight turned and mirrored forms of a 3 x 3 surround."""
    table = np.zeros(512, dtype=np.int16)
    for code in range(512):
        ring = [(code >> k) & 1 for k in range(8)]
        forms = []
        for sequence in (ring, ring[::-1]):
            # The ring begins at a corner: reversing it puts a side first, so every second turn is a true one.
            start = 0 if sequence is ring else 1
            for turn in range(start, 8, 2):
                turned = sequence[turn:] + sequence[:turn]
                forms.append(sum(bit << k for k, bit in enumerate(turned)))
        table[code] = min(forms) + (code & 256)
    return table


_SAME_FORM = _same_form_table()


def shape_key(piece: CellArray) -> bytes:
    """Return a key that is the same for all turned and mirrored forms of a piece."""
    return _shape_key(piece.tobytes(), (piece.shape[0], piece.shape[1]))


@lru_cache(maxsize=8192)
def _shape_key(data: bytes, shape: tuple[int, int]) -> bytes:
    piece = np.frombuffer(data, dtype=np.bool_).reshape(shape)
    forms = []
    for grid in (piece, piece.T):
        for form in (grid, grid[::-1], grid[:, ::-1], grid[::-1, ::-1]):
            forms.append(bytes([form.shape[0] % 256, form.shape[1] % 256]) + np.packbits(form).tobytes())
    return min(forms)


def _labelled(cells: CellArray) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """Return the number of the 8-connected piece at every cell (0: none), and left, top, width, height, area each."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(cells.astype(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    return np.asarray(labels, dtype=np.int32), np.asarray(stats, dtype=np.int32)


def _piece(labels: npt.NDArray[np.int32], at: int, stat: list[int]) -> CellArray:
    left, top, width, height, _ = stat
    return np.asarray(labels[top : top + height, left : left + width] == at)


def _form_numbers(labels: npt.NDArray[np.int32], stats: npt.NDArray[np.int32]) -> npt.NDArray[np.float64]:
    """Return a number for every piece that is the same for equal pieces.

    Every square of a piece, counted from its own top left corner, adds a number of 40 random bits, which a float sums
    exactly for 8,192 squares; two different pieces meet by chance once in a million million.
    """
    at = np.flatnonzero(labels)
    number = labels.ravel()[at]
    row = at // labels.shape[1] - stats[number, 1]
    col = at % labels.shape[1] - stats[number, 0]
    sums = np.bincount(number, weights=_RANDOM[row % 256, col % 256], minlength=len(stats))
    return np.asarray(sums, dtype=np.float64)


_RANDOM = np.random.default_rng(0).integers(1, 1 << 40, (256, 256)).astype(np.float64)


def pieces(cells: CellArray) -> list[tuple[tuple[slice, slice], CellArray]]:
    """Return the 8-connected pieces of a grid: where the box of each stands, and the piece in it, top ones first."""
    labels, stats = _labelled(cells)
    found = []
    for at in sorted(range(1, len(stats)), key=lambda k: (stats[k, 1], stats[k, 0])):
        left, top, width, height, _ = (int(v) for v in stats[at])
        box = (slice(top, top + height), slice(left, left + width))
        found.append((box, np.asarray(labels[box] == at)))
    return found


@dataclass(frozen=True)
class Verdict:
    """How one place of a border looks beside its strip."""

    clash: int = 0
    broken: bool = False
    foreign: int = 0
    novelty: int = 0


@dataclass(frozen=True, eq=False)
class Verdicts:
    """How many places look, one entry of every array for each; see `Verdict`."""

    clash: npt.NDArray[np.int64]
    broken: npt.NDArray[np.bool_]
    foreign: npt.NDArray[np.int64]
    novelty: npt.NDArray[np.int64]

    @staticmethod
    def joined(parts: Sequence[Verdicts]) -> Verdicts:
        """Put the verdicts of several lots one after the other."""
        return Verdicts(
            np.concatenate([part.clash for part in parts]),
            np.concatenate([part.broken for part in parts]),
            np.concatenate([part.foreign for part in parts]),
            np.concatenate([part.novelty for part in parts]),
        )


@dataclass(frozen=True, eq=False)
class StripMeasure:
    """What the endless strip itself has.

    Parameters
    ----------
    tile : ndarray of shape (d, p), bool
    """

    tile: CellArray

    @cached_property
    def _repeats(self) -> int:
        p = int(self.tile.shape[1])
        return max(5, -(-24 // p) | 1)

    @cached_property
    def _long(self) -> CellArray:
        return np.tile(self.tile, (1, self._repeats))

    @cached_property
    def _middle(self) -> slice:
        p = self.tile.shape[1]
        start = (self._repeats // 2) * p
        return slice(start, start + p)

    @cached_property
    def has(self) -> npt.NDArray[np.bool_]:
        """(4,), whether the strip has lone crosses, ends, forks, solid squares."""
        return np.asarray(line_features(self._long)[:, self._middle].any(axis=(0, 1)))

    @cached_property
    def surrounds(self) -> npt.NDArray[np.bool_]:
        """(256,), which surrounds of a cross occur, turned and mirrored as one likes."""
        known = np.zeros(512, dtype=np.bool_)
        long = self._long
        code = _surround_codes(long)[:, self._middle]
        known[_SAME_FORM[code + 256 * long[:, self._middle].astype(np.int16)]] = True
        # Only surrounds of crosses are ever asked for: by the code of the neighbours alone.
        return np.asarray(known[_SAME_FORM[np.arange(256) + 256]])

    @cached_property
    def _own(self) -> tuple[frozenset[bytes], int, int, bool]:
        long = self._long
        n = long.shape[1]
        p = self.tile.shape[1]
        shapes: set[bytes] = set()
        sizes: list[int] = []
        widest, running = 0, False
        for box, piece in pieces(long):
            if box[1].start > 0 and box[1].stop < n:
                shapes.add(shape_key(piece))
                if np.array_equal(piece, piece[:, ::-1]):
                    # Its middle column may be doubled to stand in the middle of an even side.
                    middle = (piece.shape[1] - 1) // 2
                    shapes.add(shape_key(np.insert(piece, middle, piece[:, middle], axis=1)))
                sizes.append(int(piece.sum()))
                widest = max(widest, piece.shape[1])
            elif piece.shape[1] > n - p:
                running = True
                sizes.append(int(piece[:, : (piece.shape[1] // p) * p].sum()) // (piece.shape[1] // p))
        return frozenset(shapes), min(sizes, default=1), widest, running

    @property
    def shapes(self) -> frozenset[bytes]:
        """Keys of the closed pieces, and of those with their middle column doubled."""
        return self._own[0]

    @property
    def smallest(self) -> int:
        """Crosses of the smallest piece; of a running line those in one repeat."""
        return self._own[1]

    @property
    def widest(self) -> int:
        """Columns of the widest closed piece."""
        return self._own[2]

    @property
    def running(self) -> bool:
        """Whether a line runs through the whole strip."""
        return self._own[3]

    def judge(self, cells: CellArray, open_edges: CellArray, count: CellArray | None = None) -> Verdict:
        """Compare a drawn place with the strip.

        Parameters
        ----------
        cells : ndarray of shape (rows, cols), bool
            The place and enough of the strip round it.
        open_edges : ndarray of shape (rows, cols), bool
            Cells at which the drawing was cut off; pieces that reach them are not judged, nor are crosses within
            one cell of them.
        count : ndarray of shape (rows, cols), bool, optional
            Where clash is counted; everywhere when None.
        """
        found = self.judge_all(cells[None], open_edges, count)
        return Verdict(int(found.clash[0]), bool(found.broken[0]), int(found.foreign[0]), int(found.novelty[0]))

    def judge_all(self, places: CellArray, open_edges: CellArray, count: CellArray | None = None) -> Verdicts:
        """Compare many drawn places of one size with the strip, as `judge` does with one.

        Parameters
        ----------
        places : ndarray of shape (K, rows, cols), bool
        open_edges, count : ndarray of shape (rows, cols), bool
            The same for all places.
        """
        many = max(1, MOST_CELLS // max(1, open_edges.size))
        if len(places) > many:
            return Verdicts.joined(
                [self.judge_all(places[k : k + many], open_edges, count) for k in range(0, len(places), many)]
            )
        k, rows, cols = places.shape
        # The places stand above each other with a bare row between, so that one pass serves all.
        sheet = np.zeros((k, rows + 1, cols), dtype=np.bool_)
        sheet[:, :rows] = places
        sheet = sheet.reshape(k * (rows + 1), cols)
        code = _surround_codes(sheet)
        near = _surround_codes(open_edges) != 0
        inner = places & ~(open_edges | near)
        code_at = code.reshape(k, rows + 1, cols)[:, :rows]
        place, r, c = np.nonzero(inner)
        codes = code_at[place, r, c]
        foreign_features = _FEATURES[:, ~self.has].sum(axis=1)[codes]
        if count is not None:
            foreign_features = foreign_features * count[r, c]
        clash = np.bincount(place, weights=foreign_features, minlength=k).astype(np.int64)
        novelty = np.bincount(place, weights=~self.surrounds[codes], minlength=k).astype(np.int64)

        labels, stats = _labelled(sheet)
        label_at = labels.reshape(k, rows + 1, cols)[:, :rows]
        closed = np.ones(len(stats), dtype=np.bool_)
        closed[0] = False
        closed[label_at[:, open_edges]] = False
        broken = np.zeros(k, dtype=np.bool_)
        foreign = np.zeros(k, dtype=np.int64)
        broken[stats[closed & (stats[:, 4] < self.smallest), 1] // (rows + 1)] = True
        at = np.flatnonzero(closed)
        if at.size:
            # Pieces come in few forms: one of each is looked at.
            forms = _form_numbers(labels, stats)[at]
            _, first, which = np.unique(forms, return_index=True, return_inverse=True)
            shapes = self.shapes
            new = [shape_key(_piece(labels, k, stats[k].tolist())) not in shapes for k in at[first].tolist()]
            np.add.at(foreign, stats[at, 1] // (rows + 1), np.array(new)[which])
        return Verdicts(clash, broken, foreign, novelty)
