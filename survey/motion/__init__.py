"""How the boat moved: course, heading, turns, speed; where the log may not be bridged."""
