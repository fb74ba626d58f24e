# pylint: disable=wildcard-import

from .talker import *

