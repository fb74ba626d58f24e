"""Distributions and ellipses: quantiles, axes, the square of a ground range near the nadir, the presets of errors."""
