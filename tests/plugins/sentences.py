"""NMEA 0183 sentences for tests, written by the standard's layout alone; nothing of the core's own."""
from __future__ import annotations

from functools import reduce

KNOT = 1852 / 3600


def sentence(body):
    """With its checksum and line end."""
    return f"${body}*{reduce(lambda a, b: a ^ ord(b), body, 0):02X}\r\n"


def clock(second):
    """hhmmss.ss of a second of the day."""
    second %= 86400
    return f"{int(second // 3600):02d}{int(second % 3600 // 60):02d}{second % 60:05.2f}"


def angle(degrees, width):
    """(d)ddmm.mmmmm of a positive angle."""
    minutes = round(degrees * 60, 5)
    return f"{int(minutes // 60):0{width}d}{minutes % 60:08.5f}"


def place(lon, lat):
    """Four fields: latitude, N or S, longitude, E or W."""
    return (f"{angle(abs(lat), 2)},{'N' if lat >= 0 else 'S'},{angle(abs(lon), 3)},{'E' if lon >= 0 else 'W'}")


def rmc(second, lon, lat, knots=4.0, course=90.0, day="310524", talker="GP"):
    return sentence(f"{talker}RMC,{clock(second)},A,{place(lon, lat)},{knots},{course},{day},,")


def gll(second, lon, lat, talker="GP"):
    return sentence(f"{talker}GLL,{place(lon, lat)},{clock(second)},A")


def dpt(depth):
    return sentence(f"SDDPT,{depth:.2f},")


def is_whole(line):
    """True for a line that is one sentence with a right checksum."""
    body, star, printed = line.strip().rpartition("*")
    return bool(star) and body[:1] in "$!" and body.count("$") <= 1 and len(printed) == 2 and (
        f"{reduce(lambda a, b: a ^ ord(b), body[1:], 0):02X}" == printed.upper())
