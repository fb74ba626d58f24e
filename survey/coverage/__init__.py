"""What was seen of an area and a shore, what was not, and how sure that is."""
