"""From fixes to a prepared track: course, heading, depth, range, passes."""
