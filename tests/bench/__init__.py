"""Speed, memory and error against what a GIS user would do instead."""
