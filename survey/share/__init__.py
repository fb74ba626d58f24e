"""The share seen and its interval, by drawn errors."""
