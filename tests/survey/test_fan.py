"""Rows of beams that strips are drawn from: where two strips meet, and which way beams set in between point."""
import numpy as np
import tracks
from athwart.survey.beams.pointing import Beams
from athwart.survey.geometry.frame import Frame
from athwart.survey.geometry.ground import wrapped
from athwart.survey.swaths.arcs import laid
from athwart.survey.swaths.fan import Fan, strip_rows

FRAME = Frame("EPSG:32615", -93, 45)


def test_a_beam_is_shared_where_one_strip_ends_and_the_next_begins():
    """Two strips that meet at y = 1, one that begins elsewhere, and a boat that lay still within the last."""
    y, strip = np.array([0.0, 1, 1, 2, 5, 6, 6]), np.array([0, 0, 1, 1, 2, 2, 2])
    at, along, none = np.column_stack([0 * y, y]), np.tile([1.0, 0.0], (7, 1)), np.zeros(7, bool)
    fan = Fan(at, along, 0 * y, 0 * y + 9, strip, np.arange(7), none, none)
    assert fan._shared().tolist() == [1]
    fan.outer[2] = np.nan
    assert fan._shared().tolist() == []


def test_beams_set_in_on_an_arc_head_the_way_they_point():
    """True heading and azimuth in the frame differ by the convergence alone, a hundredth of a degree here."""
    turned = np.radians(np.arange(0.0, 91.0, 15.0))
    course = 90 - np.degrees(turned)
    track = tracks.in_frame(FRAME, 30 * np.sin(turned), 30 * np.cos(turned), 180 - course, range_m=30.0, depth_m=4.0,
                            speed_mps=2.0, turn_dps=np.degrees(2 / 30), t_s=1.7e9 + turned * 15)
    rows = strip_rows(track)
    fan = laid(rows, track, Beams.of(track, FRAME))
    assert len(fan.beams.east) > len(track)
    assert np.abs(wrapped(fan.track.heading_deg - fan.beams.azimuth_deg)).max() < 0.02
