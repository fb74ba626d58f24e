"""Toolbox group Coverage: the bottom seen, what was missed, the shore nobody scanned."""
