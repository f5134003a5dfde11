"""From the picture's edges and strokes to backstitches that a needle can follow.

The stages, each in its own module:

1. `frame`: the picture is brought to a fixed number of pixels a stitch, its paper is made even.
2. `contour`, `skeleton`, `regions`: three sources of curves. Solid areas give their outline with
   sub-pixel accuracy, thin strokes and thin gaps their centre line, photographs the few
   boundaries between tonal areas that matter.
3. `graph`: the curves as one network of nodes and edges; branches that run straight on are joined.
4. `lattice`, `fit`, `network`: each curve becomes a chain of holes by a dynamic programme, and
   curves that meet share a hole.
5. `choose`: which of the chains a chart needs beside its crosses.
6. `suggest`: the stages in order.

All coordinates are (row, col) in stitches from the top left hole of the grid.
"""
