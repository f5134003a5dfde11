"""From the picture's edges and strokes to backstitches that a needle can follow.

The stages, each in its own module:

1. `frame`: the picture is brought to a fixed number of pixels a stitch, its paper is made even, ink is told
   from paper; `tilt` finds the small angle by which a camera has turned a drawing.
2. `parts` (with `thinning`, `skeleton`, `contour`): ink is told apart into strokes, which get their centre
   line, and areas, which get their outline with sub-pixel accuracy; a narrow gap between areas gets one line.
   `colour`: edges between colours of a drawing that are equally dark. `regions`: of a photograph the few
   boundaries that matter.
3. `graph`: the curves as one network of nodes and edges; branches that run straight on are joined.
4. `symmetry`: of a symmetric drawing one piece is worked out, the others are its images.
5. `lattice`, `fit`, `network`: each curve becomes a chain of holes by a dynamic programme, and
   curves that meet share a hole.
6. `choose`: which of the chains a chart needs beside its crosses.
7. `suggest`: the stages in order.

All coordinates are (row, col) in stitches from the top left hole of the grid.
"""
