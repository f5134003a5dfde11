"""Picture to cells. The order of the stages stands at the head of `converter.pipeline`."""
