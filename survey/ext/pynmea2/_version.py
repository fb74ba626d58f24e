__version__ = '1.19.0'
