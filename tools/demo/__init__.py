"""The whole job on the sample outings, and its pictures."""
