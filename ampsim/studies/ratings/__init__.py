"""What every valve and part carries at rest, cold and driven hard, against its limits."""

TITLE = "bias and ratings"
