"""Bottoms of waves under a track, and marks of them on a picture of the record with errors drawn; closed forms only."""
import athwart.survey as core
import numpy as np
import tracks
from waterfalls import EAST, LOCAL, NORTH

TRUE = core.Record(600, 1000, newest="top", edge_range_m=30.0, first_ping=1500.0, pings_per_row=2.0)
"""The picture as it truly shows the record."""


def world(seed, relief=0.9, **given):
    """(track, depth at a time in s): ten minutes over waves of 40 to 400 s, ten pings a second."""
    t, rng = np.arange(600.0), np.random.default_rng(seed)
    number, phase = 2 * np.pi / np.exp(rng.uniform(np.log(40), np.log(400), 8)), rng.uniform(0, 2 * np.pi, 8)

    def depth(t):
        return 7 + relief * np.sin(np.multiply.outer(t, number) + phase).sum(axis=-1) / 2
    usual = {"t_s": 1.7e9 + t, "record_ping": 10 * t, "depth_m": depth(t), "range_m": 30.0}
    return tracks.made(LOCAL, EAST + 0 * t, NORTH + 1.5 * t, 0.0, **{**usual, **given}), depth


def marks(depth, seed, record=TRUE, count=20, sigma=0.15):
    """(column, row) of bottom marks on the picture as it truly is."""
    rng = np.random.default_rng(seed)
    row = np.sort(rng.uniform(0, record.height, count))
    read = depth(record.count(row) / 10) + rng.normal(0, sigma, count)
    return record.centre + rng.choice([-1, 1], count) * read / 30 * record.reach, row


def cramer_rao(depth, row, sigma, record=TRUE):
    """Bounds of the standard deviation of (first ping, pings a row, range at the edge) from marks at ``row`` that err
    by ``sigma`` (m): the inverse of the Fisher matrix of shift, rate and scale, from the true bottom."""
    count = record.count(row)
    away = count - count.mean()
    slope = (depth((count + 0.5) / 10) - depth((count - 0.5) / 10))
    by = np.column_stack([slope, slope * away, depth(count / 10)])
    covariance = np.linalg.inv(by.T @ by) * sigma ** 2
    first = np.array([1.0, record.first_ping - count.mean()])
    return (np.sqrt(first @ covariance[:2, :2] @ first), record.pings_per_row * np.sqrt(covariance[1, 1]),
            record.edge_range_m * np.sqrt(covariance[2, 2]))
