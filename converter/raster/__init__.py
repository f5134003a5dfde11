"""Picture to cells: tone, threshold, reduction, tidying."""
