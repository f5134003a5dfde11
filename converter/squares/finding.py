"""Find the grid in a picture: seeds, trial growth of the most promising, the final mesh.

Every seed is planted as a mesh of eight squares a side and judged on the picture. The most promising few with
different directions or pitch are grown; the area on which their lines are seen decides, as a false lattice (dense
crosses make one at 45 degrees) ends where the marks end; if it covers more all the same, another one that is proven on
bare paper (see `proof`) is taken. The winner is brought to the pitch that the lines bear out, measured again in the mix
of channels in which its own lines show best, and grown and fitted to the end.

All this is done on a reduced picture. Only where nothing is found in it is the picture taken at its full size, and
the pitch is judged on small parts of the full size.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from converter.squares import density, filters, lattice, mesh, pitch, planting, proof
from converter.squares.sides import Nodes, Sight

WORK_PITCH = 18.0
"""Pixels a square of the picture that the mesh is fitted on."""
_GLANCE_SCORE = 140.0
"""Height over the noise of the best peaks of the spectrum; half of the least seen on squared paper."""
_GLANCE_WORTH = 10.0
"""Worth of the best few squares planted, in squares; half of the least seen on squared paper."""
_LIKELY = 0.8
"""Share of sides shown from which a lattice is likely the printed one."""
_ENOUGH = ((_LIKELY, 0.1), (0.75, 0.35))
"""Share of sides shown, and worth as part of the picture, with which none is looked for between the marks any more."""
_ROUGH, _MOST_OF_IT = 0.012, 0.3
"""Change of the step from crossing to crossing of a mesh that may be astray; worth from which that does not matter."""
_WEAK = 0.1
"""Worth, as part of the picture, under which fainter lines are looked for."""
_UNLIKELY = 0.7
"""Share of sides shown up to which a lattice between the lines of another one is none."""
_TURNED = 0.35
"""Angle, radians, from which a lattice is not the same as another one; within a photo a sheet's lines turn by less."""
_FINER = 0.4
"""Worth of a finer lattice, as part of the best one's, from which it is looked at whether its lines show."""
_RIVAL = 0.2
"""Worth of a lattice, as part of the best one's, from which it is looked at where it is proven."""
_SHOWN = 0.55
"""Share of sides on clean paper that show a line in a lattice that is there; half way between lines half of them do."""
_SEEN_MORE = 0.1
"""Share of sides on clean paper by which more must be seen of the lattice half a square beside the best one."""
_FEWEST_PAIRS, _UNLIKE_NEXT = 20, 0.34
"""Neighbouring sides on bare paper from which the print can be judged, and how much the line usually changes from one
to the next, as part of its height, that printed ones do not."""
_UNLIKE_AND_BESIDE = 0.0027
"""The same, times by how much it usually lies beside, as part of a square."""
_FIRM, _VERY_FIRM = 10.0, 15.0
"""Height over the noise of lines whose breadth tells, and whose place does, too."""
LOOK_PIXELS = 1.5e6
"""Pixels of the picture that the grid is looked for in first."""


@dataclass(frozen=True, eq=False)
class Found:
    """A mesh on a reduced picture."""

    fit: mesh.Fit
    single: mesh.Fit
    """The same mesh with each side measured by itself, not averaged with its neighbours on the line."""
    factor: float
    """Mesh pixels for one picture pixel."""
    shape: tuple[int, int]
    """Of the reduced picture."""

    def to_picture(self, nodes: Nodes) -> Nodes:
        """Return crossings in pixels of the picture."""
        return (nodes + 0.5) / self.factor - 0.5


@dataclass(frozen=True, eq=False)
class Trial:
    """The best lattice of a quick search."""

    worth: float
    """Area on which its lines are seen, weighted, in pixels of the picture it was looked for in."""
    fit: mesh.Fit
    factor: float
    """Mesh pixels for one picture pixel."""
    shape: tuple[int, int]
    """Of the picture that the mesh lies on."""


def _same_lattice(a: lattice.Seed, b: lattice.Seed) -> bool:
    """Return whether two seeds have about the same steps, perhaps turned by a quarter."""
    down_a, right_a = np.array(a.down), np.array(a.right)
    down_b, right_b = np.array(b.down), np.array(b.right)
    turns = ((down_b, right_b), (right_b, -down_b), (-right_b, down_b))
    apart = min(float(np.hypot(*(down_a - d)) + np.hypot(*(right_a - r))) for d, r in turns)
    return apart < 0.3 * min(a.pitch, b.pitch)


def _held(start: mesh.Fit, factor: float, known: Trial) -> bool:
    """Return whether the lattice of a mesh just planted is one of those that were looked into with a grown mesh.

    A grown mesh is brought to the pitch that the lines bear out, so one that skips lines of it leads to it again, and
    so does one with others between that hardly show.
    """
    middle, nodes = (start.nodes[2:-2, 2:-2] + 0.5) / factor, (known.fit.nodes + 0.5) / known.factor
    ratio = (start.pitch / factor) / (known.fit.pitch / known.factor)
    if not 0.93 < ratio < 1.07 and mesh.share_shown(known.fit) < _LIKELY:
        return False
    if ratio > 0.8:
        return _nested(nodes, middle)
    return mesh.share_shown(start) < _UNLIKELY and _nested((start.nodes + 0.5) / factor, nodes)


def _nested(fine: Nodes, coarse: Nodes) -> bool:
    """Return whether, where a fine mesh lies, the crossings of a coarser one are among its own; lines are parallel."""
    ways = []
    for nodes in (fine, coarse):
        row, col = nodes.shape[0] // 2, nodes.shape[1] // 2
        right = nodes[row, col] - nodes[row, col - 1]
        ways.append(np.arctan2(right[0], right[1]))
    apart = (ways[0] - ways[1]) % (np.pi / 2)
    if min(apart, np.pi / 2 - apart) > _TURNED:
        return False
    points, known = coarse.reshape(-1, 2), fine.reshape(-1, 2)
    points = points[((points >= known.min(axis=0)) & (points <= known.max(axis=0))).all(axis=1)]
    points = points[:: max(1, len(points) // 200)]
    if len(points) < 2:
        return False
    side = float(np.median(np.hypot(*np.diff(fine, axis=1).reshape(-1, 2).T)))
    miss = np.sqrt(((points[:, None] - known[None]) ** 2).sum(axis=2).min(axis=1))
    return float(np.median(miss)) < 0.15 * side


def trial(
    rgb: npt.NDArray[np.uint8],
    source: npt.NDArray[np.uint8] | None = None,
    most_windows: int = 4,
    most_tried: int = 4,
    most_steps: int = 20,
    glance: bool = False,
    faint: bool = False,
) -> Trial | None:
    """Return the best lattice of a picture (H, W, 3), or None.

    ``source`` is the same picture at its full size, for a closer look at parts. A ``glance`` goes on only where the
    spectrum and the first few squares are as on squared paper. With ``faint`` what is seen along many sides together
    counts, where lines hardly stand out from the grain.
    """
    dense = density.density(rgb)
    weights = density.channel_weights(dense)
    whole = Sight.of(dense, weights)
    closer = pitch.Source(rgb if source is None else source, weights)
    gray = whole.lines
    grown: list[Trial] = []
    for hidden in (False, True):
        seeds = lattice.find_seeds(gray, most_windows, hide_ink=hidden)
        if glance and not grown and (not seeds or seeds[0].score < _GLANCE_SCORE):
            return None
        planted = _planted(seeds, whole)
        if glance and not grown and planted[0][0] < _GLANCE_WORTH:
            return None
        grown += _rivals(planted, grown, whole, closer, most_tried, most_steps, faint)
        best = max(grown, key=lambda g: g.worth, default=None)
        if best is not None and _enough(best, gray.size):
            break
    if best is None or best.worth <= 0:
        return None
    best = _finest(best, grown)
    proven = _unless_refuted(best, grown, whole, closer, most_steps)
    # what is proven may skip lines, too
    best = best if proven is best else _finest(proven, grown)
    best = _unless_crosses(best, grown, whole, closer, most_steps)
    return _unless_between(best, whole, closer, most_steps)


def _enough(best: Trial, pixels: int) -> bool:
    """Return whether a lattice explains so much of a picture of so many pixels that none between marks is looked for.

    One that explains only a part must lie as evenly as paper does.
    """
    part = best.worth / pixels
    if part < _MOST_OF_IT and mesh.roughness(best.fit) > _ROUGH:
        return False
    shown = mesh.share_shown(best.fit)
    return any(shown > share and part > least for share, least in _ENOUGH)


def _finest(best: Trial, grown: list[Trial]) -> Trial:
    """Return the finest lattice whose own lines show on clean paper and that has the best one's among them.

    One that skips lines explains as large an area, and its fewer lines may be the firmer ones.
    """
    for other in sorted(grown, key=lambda g: g.fit.pitch / g.factor):
        finer = other.fit.pitch / other.factor < 0.8 * best.fit.pitch / best.factor
        if finer and other.worth > _FINER * best.worth and mesh.share_on_paper(other.fit) > _SHOWN:
            fine, coarse = ((g.fit.nodes + 0.5) / g.factor for g in (other, best))
            if _nested(fine, coarse):
                return other
    return best


def _unless_refuted(best: Trial, grown: list[Trial], whole: Sight, closer: pitch.Source, most_steps: int) -> Trial:
    """Return the lattice that is proven on the largest area, if the best one is refuted there."""
    others = [g for g in grown if g is not best and g.worth > _RIVAL * best.worth]
    if not others:
        return best
    shape = (whole.lines.shape[0], whole.lines.shape[1])
    own, *proofs = [proof.proof_of(_reduced(whole, g.factor), g.fit, g.factor, shape) for g in (best, *others)]
    better = [
        (int(p.area.sum()), -number)
        for number, (other, p) in enumerate(zip(others, proofs, strict=True))
        if proof.outdone(best.fit, best.factor, own, other.fit, other.factor, p)
    ]
    if not better:
        return best
    number = -max(better)[1]
    other = others[number]
    # it may have grown astray among the marks: the bare squares are where to begin
    work = _reduced(whole, other.factor)
    starts = [
        mesh.measure(work, proof.patch(other.fit.nodes, proofs[number])),
        planting.plant(work, proof.usual_seed(other.fit.nodes, proofs[number])),
    ]
    anew = [_grown(start, work, closer, other.factor, most_steps) for start in starts]
    return max(other, *anew, key=lambda g: mesh.share_on_paper(g.fit) * float(g.worth > _FINER * other.worth))


def _reduced(whole: Sight, factor: float) -> Sight:
    return Sight(density.shrink(whole.lines, factor), density.shrink(whole.tone, factor))


def _planted(seeds: list[lattice.Seed], whole: Sight) -> list[tuple[float, lattice.Seed, mesh.Fit, Sight]]:
    """Return the seeds planted, with their worth and the sight they are planted on, most promising first."""
    works: dict[int, Sight] = {}
    planted: list[tuple[float, lattice.Seed, mesh.Fit, Sight]] = []
    for seed in seeds:
        scale = min(1.0, WORK_PITCH / seed.pitch)
        key = round(whole.lines.shape[0] * scale)
        if key not in works:
            works[key] = _reduced(whole, scale)
        work = works[key]
        for fit in planting.plants(work, lattice.scaled(seed, work.lines.shape[0] / whole.lines.shape[0])):
            planted.append((mesh.quality(fit) * fit.pitch**-2, seed, fit, work))
    planted.sort(key=lambda p: -p[0])
    return planted


def _rivals(
    planted: list[tuple[float, lattice.Seed, mesh.Fit, Sight]],
    before: list[Trial],
    whole: Sight,
    closer: pitch.Source,
    most_tried: int,
    most_steps: int,
    faint: bool,
) -> list[Trial]:
    """Return the most promising different lattices, grown, but for those grown ``before``."""
    grown: list[Trial] = []
    for _worth, _seed, start, work in planted:
        if len(grown) >= most_tried:
            break
        factor = work.lines.shape[0] / whole.lines.shape[0]
        if any(_held(start, factor, known) for known in [*before, *grown]):
            continue
        found = _grown(start, work, closer, factor, most_steps, mesh.averaging(start) if faint else 3)
        grown.append(found)
        if mesh.share_shown(found.fit) > 0.85 and found.worth > 0.6 * whole.lines.size:
            break
    return grown


def _grown(
    start: mesh.Fit, work: Sight, closer: pitch.Source, factor: float, most_steps: int, average: int = 3
) -> Trial:
    fit = mesh.grow(work, start, most_steps=most_steps, patience=2, average=average)
    fit = pitch.right_pitch(work, fit, closer)
    # a lattice that skips lines explains as large an area: the finer one is preferred
    worth = mesh.quality(fit) / factor**2 * min(1.0, 12.0 * factor / fit.pitch)
    return Trial(worth, fit, factor, (work.lines.shape[0], work.lines.shape[1]))


def _seed_of(found: Trial) -> lattice.Seed:
    """Return the lattice of a mesh where its lines are seen best, in pixels of the picture it was looked for in."""
    n, m = found.fit.squares
    at = np.unravel_index(int(filters.box(found.fit.good[0][:, :m], 9)[:n].argmax()), (n, m))
    nodes = (found.fit.nodes + 0.5) / found.factor - 0.5
    centre, below, beside = nodes[at], nodes[at[0] + 1, at[1]], nodes[at[0], at[1] + 1]
    down, right = below - centre, beside - centre
    return lattice.Seed(
        (float(centre[0]), float(centre[1])), (float(down[0]), float(down[1])), (float(right[0]), float(right[1])),
        1.0, 6.0 * found.fit.pitch / found.factor,
    )  # fmt: skip


def _unless_crosses(best: Trial, grown: list[Trial], whole: Sight, closer: pitch.Source, most_steps: int) -> Trial:
    """Return the lattice in which crosses would look like the best one, if there are lines in it as well.

    On paper printed with the best lattice nothing is seen in that one, while a patch of crosses may well hide most of
    the lines of the paper that they are drawn on. Every second line of the crosses is a lattice, too.
    """
    seed = _seed_of(best)
    halved = replace(seed, down=(seed.down[0] / 2, seed.down[1] / 2), right=(seed.right[0] / 2, seed.right[1] / 2))
    # crosses in printed squares make the finer one as well, but it is hardly seen on bare paper
    own = mesh.share_on_paper(best.fit)
    for turned, least in ((lattice.diagonal(seed), own), (lattice.diagonal(halved), max(own + _SEEN_MORE, _LIKELY))):
        other = _turned(turned, grown, whole, closer, most_steps)
        there = other is not None and mesh.share_shown(other.fit) > 0.6 and other.worth > 0.25 * best.worth
        # squares with crosses, too, have a turned lattice: printed lines are seen on bare paper
        if other is not None and there and mesh.share_on_paper(other.fit) > least:
            return other
    return best


def _turned(
    turned: lattice.Seed, grown: list[Trial], whole: Sight, closer: pitch.Source, most_steps: int
) -> Trial | None:
    """Return the best mesh with a lattice, among those grown before if there are any; None if no lines are seen."""
    others = [g for g in grown if _same_lattice(_seed_of(g), turned)]
    if others:
        return max(others, key=lambda g: g.worth)
    factor = min(1.0, WORK_PITCH / turned.pitch)
    work = _reduced(whole, factor)
    factor = work.lines.shape[0] / whole.lines.shape[0]
    # the best place may be all crosses
    start = max(planting.plants(work, lattice.scaled(turned, factor)), key=mesh.share_shown)
    if mesh.share_shown(start) < 0.5:
        return None
    found = _grown(start, work, closer, factor, most_steps)
    # of squares with crosses the half ones, turned, are a lattice
    return found if _same_lattice(_seed_of(found), turned) else None


def _unless_between(best: Trial, whole: Sight, closer: pitch.Source, most_steps: int) -> Trial:
    """Return the best lattice, or the one half a square beside it if more is seen of that on clean paper.

    Pluses and crosses, one a square, make lines in the middle of the squares, which may be firmer than the printed ones
    but end where the marks do.
    """
    work = _reduced(whole, best.factor)
    nodes = best.fit.nodes
    down, right = np.gradient(nodes, axis=0), np.gradient(nodes, axis=1)
    shifts = ((0.5, 0.0), (0.0, 0.5), (0.5, 0.5))
    others = [mesh.measure(work, nodes + part[0] * down + part[1] * right) for part in shifts]
    other = max(others, key=mesh.share_on_paper)
    more = mesh.share_on_paper(other) > mesh.share_on_paper(best.fit) + _SEEN_MORE
    if more and mesh.quality(other) > _FINER * mesh.quality(best.fit):
        return _grown(other, work, closer, best.factor, most_steps)
    return best


def look(rgb: npt.NDArray[np.uint8], glance: bool = False, faint: bool = False) -> tuple[Trial | None, float]:
    """Return the best lattice of a picture (H, W, 3) looked at on a reduced one, and that one's scale.

    With ``glance`` most pictures that are no squared paper are given up early; with ``faint`` see `trial`.
    """
    small = density.shrink(rgb, (LOOK_PIXELS / (rgb.shape[0] * rgb.shape[1])) ** 0.5)
    return trial(small, rgb, glance=glance, faint=faint), small.shape[0] / rgb.shape[0]


def promising(best: Trial) -> bool:
    """Return whether a lattice is worth fitting to the end: squares enough and lines on most clean paper."""
    contrast = best.fit.height / max(best.fit.level.noise, best.fit.upright.noise)
    return min(best.fit.squares) >= 6 and mesh.share_shown(best.fit) > 0.45 and contrast > 2.0


def find_mesh(rgb: npt.NDArray[np.uint8]) -> Found | None:
    """Return the fitted mesh of a picture (H, W, 3), or None if nothing in it is like a grid."""
    best, scale = look(rgb)
    if scale < 1 and (best is None or best.worth < 0.01 * scale**2 * rgb.shape[0] * rgb.shape[1]):
        best, scale = trial(rgb), 1.0
    found = None if best is None else fitted(rgb, best, scale)
    if best is not None and best.worth > _WEAK * scale**2 * rgb.shape[0] * rgb.shape[1]:
        return found
    best, scale = look(rgb, faint=True)
    ways = [found, None if best is None else fitted(rgb, best, scale)]
    return max((f for f in ways if f is not None), key=lambda f: mesh.quality(f.fit) / f.factor**2, default=None)


def fitted(rgb: npt.NDArray[np.uint8], best: Trial, scale: float) -> Found:
    """Return the best lattice of a picture, looked for at a ``scale``, fitted to the end."""
    return _fitted(rgb, best.fit.nodes, best.factor * scale)


def _fitted(rgb: npt.NDArray[np.uint8], nodes: Nodes, factor: float) -> Found:
    """Grow and fit a mesh to the end, on the picture reduced to `WORK_PITCH`."""
    side = float(np.median(np.hypot(*np.diff(nodes, axis=1).reshape(-1, 2).T)))
    dense = density.density(density.shrink(rgb, min(1.0, factor * WORK_PITCH / side)))
    wanted = dense.shape[0] / rgb.shape[0]
    nodes = (nodes + 0.5) * (wanted / factor) - 0.5
    first = mesh.measure(Sight.of(dense, density.channel_weights(dense)), nodes)
    work = Sight.of(dense, mesh.line_mix(dense, first))
    fit = mesh.measure(work, nodes)
    average = mesh.averaging(fit)
    # what the trial grew in vain may lie anywhere: it is grown anew
    fit = mesh.measure(work, mesh.cropped(mesh.measure(work, nodes, average)), average)
    fit = mesh.grow(work, fit, patience=5, close=True, average=average)
    fit = mesh.measure(work, mesh.cropped(fit), average)
    fit = mesh.straightened(work, mesh.settle(work, fit, average), average)
    return _found(work, fit, wanted)


def further(rgb: npt.NDArray[np.uint8], held: Found, by: tuple[int, int, int, int]) -> Found:
    """Return a mesh with more rows and columns outside (top, left, bottom, right), drawn to the lines seen there."""
    dense = density.density(density.shrink(rgb, held.factor))
    work = Sight.of(dense, mesh.line_mix(dense, held.fit))
    average = mesh.averaging(held.fit)
    fit = mesh.measure(work, mesh.extend(held.fit.nodes, by), average)
    return _found(work, mesh.settle(work, fit, average), held.factor)


def _found(work: Sight, fit: mesh.Fit, factor: float) -> Found:
    single = mesh.measure(work, fit.nodes, average=1, reach=0.1)
    return Found(fit, single, factor, (work.lines.shape[0], work.lines.shape[1]))


def mesh_from_corners(rgb: npt.NDArray[np.uint8], corners: npt.NDArray[np.float64], size: tuple[int, int]) -> Found:
    """Return the mesh between four corners given by hand, drawn to the lines that are seen near it.

    Parameters
    ----------
    rgb : ndarray of shape (H, W, 3), uint8
    corners : ndarray of shape (4, 2)
        Picture (row, col) of the top left, top right, bottom right and bottom left corner of the grid.
    size : tuple of int
        (rows, cols).
    """
    rows, cols = size
    source = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], np.float64)
    matrix = _homography(source, corners[:, ::-1])
    r, c = np.mgrid[0 : rows + 1, 0 : cols + 1].astype(np.float64)
    point = np.stack([c, r, np.ones_like(r)], axis=-1) @ matrix.T
    nodes = (point[..., :2] / point[..., 2:])[..., ::-1]
    sides = np.concatenate([np.hypot(*np.diff(nodes, axis=k).reshape(-1, 2).T) for k in (0, 1)])
    factor = min(1.0, WORK_PITCH / max(1.0, float(np.median(sides))))
    dense = density.density(density.shrink(rgb, factor))
    factor = dense.shape[0] / rgb.shape[0]
    work = Sight.of(dense, density.channel_weights(dense))
    fit = mesh.measure(work, (nodes + 0.5) * factor - 0.5)
    for reach in (3.0, 2.0, 2.0):
        fit = mesh.measure(work, mesh.local_step(fit, reach))
    return _found(work, fit, factor)


def _homography(source: npt.NDArray[np.float64], target: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    rows = []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y, -u])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    return np.asarray(np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3))


def grid_confidence(fit: mesh.Fit, top: int, left: int, bottom: int, right: int) -> float:
    """Return 0 to 1: how surely the squares between the given crossings are a printed grid.

    Several things together: most sides on clean paper show a line; there are at least some squares; the lines lie
    where an even mesh says (woven cloth, knitting and tiles laid by hand do not); and they stand out from the grain.
    """
    rows, cols = bottom - top, right - left
    if rows < 3 or cols < 3:
        return 0.0
    shares, misses, inked = [], [], []
    for number, sides in enumerate((fit.level, fit.upright)):
        part = np.s_[top : bottom + 1, left:right] if number == 0 else np.s_[left : right + 1, top:bottom]
        good, clear = fit.good[number][part], fit.clear[number][part]
        # between marks lines are seen badly and marks are taken for them: clean paper decides where there is enough
        if (clear & fit.known[number][part]).sum() > 0.1 * clear.size:
            known = clear & (fit.known[number][part] | good)
            # a wide fill is as even as paper, but darker
            known &= sides.ink[part] <= np.quantile(sides.ink[part][known], 0.6)
            good = good & known
        else:
            known = fit.known[number][part] | good
        shares.append(good.sum() / max(1.0, float(known.sum())))
        inked.append(known.mean())
        if good.any():
            misses.append(float(np.sqrt(np.mean(sides.offset[part][good] ** 2))))
    share = float(min(shares))
    miss = max(misses) if misses else 1.0
    contrast = fit.height / max(fit.level.noise, fit.upright.noise)
    size = min(1.5 * min(rows, cols), (rows * cols) ** 0.5)
    parts = (
        _step(share, _lined(contrast), 0.06),
        _step(-miss, -0.043, 0.006),
        _step(size, 8.4, 0.6),
        _step(contrast, 3.0, 0.7),
        _step(float(min(inked)), 0.06, 0.02),
    )
    return float(np.prod(parts))


def print_confidence(found: Found, top: int, left: int, bottom: int, right: int) -> float:
    """Return 0 to 1: how surely the lines between the given crossings are printed.

    From one side of a square to the next a printed line is of the same breadth and lies straight on; joints between
    tiles are not, and do not. Lines that hardly stand out from the grain do not tell.
    """
    contrast = found.fit.height / max(found.fit.level.noise, found.fit.upright.noise)
    if contrast < _FIRM:
        return 1.0
    changes, shifts = [], []
    for number, sides in enumerate((found.single.level, found.single.upright)):
        part = np.s_[top : bottom + 1, left:right] if number == 0 else np.s_[left : right + 1, top:bottom]
        plain = (found.fit.good[number] & found.fit.clear[number] & found.fit.even[number])[part]
        pairs = plain[:, 1:] & plain[:, :-1]
        if pairs.sum() < _FEWEST_PAIRS:
            return 1.0
        height = sides.height[part]
        change = float(np.median(np.abs(np.diff(height, axis=1))[pairs]))
        changes.append(change / max(1e-6, float(np.median(height[plain]))))
        shifts.append(float(np.median(np.abs(np.diff(sides.offset[part], axis=1))[pairs])))
    sure = _step(-min(changes), -_UNLIKE_NEXT, 0.04)
    if contrast > _VERY_FIRM:
        sure *= _step(-max(changes) * max(shifts), -_UNLIKE_AND_BESIDE, 0.0006)
    return sure


def _lined(contrast: float) -> float:
    """Return the share of sides that must show a line: one by one fewer do where lines hardly stand out from grain."""
    return float(np.interp(contrast, (3.6, 4.6), (0.53, 0.78)))


def _step(value: float, middle: float, width: float) -> float:
    return float(1 / (1 + np.exp(-np.clip((value - middle) / width * 2, -40, 40))))


def paper_confidence(swing: float, hue: float, step: float) -> float:
    """Return 0 to 1: how surely the bare squares are paper; see `marks.paper_evenness`."""
    return _step(-swing, -0.42, 0.08) * _step(-hue, -0.16, 0.04) * _step(-step, -0.021, 0.004)


def weave_confidence(alternation: float) -> float:
    """Return 0 to 1: how surely the squares are printed, not woven; see `marks.weave`."""
    return _step(-alternation, -1.0, 0.1)


def marks_confidence(marked: npt.NDArray[np.bool_], doubt: npt.NDArray[np.float64]) -> float:
    """Return 0 to 1: how surely the squares are a motif; paper without marks, or all shades of doubt, is none."""
    if not marked.any():
        return 0.4
    return max(0.05, _step(-float(doubt.mean()), -0.32, 0.08))
