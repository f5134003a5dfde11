"""What the stages need alike on masks of pixels, below all of them."""
