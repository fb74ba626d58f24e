"""The depth grid, and what a beam sees of uneven ground."""
