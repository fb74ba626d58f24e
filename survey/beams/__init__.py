"""One beam: where it points, how far it sees over a flat bottom, where land stops it."""
