# pylint: disable=wildcard-import

from .talker import *
from .proprietary import *

