"""Reading pictures and charts, writing results."""
