"""Other people's pure-Python parsers, unchanged, each beside its ``dist-info`` with the licence.

pynmea2 1.19.0 (MIT) knows which field of an NMEA 0183 sentence means what. Update with
``pip install --no-deps --no-compile --target survey/ext pynmea2``.
"""
