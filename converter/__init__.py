"""Image to one-colour counted cross-stitch charts."""
