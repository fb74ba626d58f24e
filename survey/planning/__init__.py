"""Plans made before the trip: lines over an area, a run along the shore, and what they are expected to see."""
