"""Other people's pure-Python parsers, each beside its ``dist-info`` with the licence.

pynmea2 1.19.0 (MIT) knows which field of an NMEA 0183 sentence means what. Left out of it are sentences of single makers
(``types/proprietary``, one class of ``types/talker`` with its helper module) and three comments: only the open standard is
read here.
"""
