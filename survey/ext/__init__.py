"""Other people's pure-Python parsers, each beside its ``dist-info`` with the licence.

pynmea2 1.19.0 (MIT) knows which field of an NMEA 0183 sentence means what. Left out of it: the makers' own sentences
(``types/proprietary`` and its import) and three comments; the open standard is all that is read here.
"""
