"""Results to read and to carry away: pages, maps in them, GPX."""
