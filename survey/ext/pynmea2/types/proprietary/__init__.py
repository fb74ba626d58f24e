from . import ash
from . import grm
from . import kwd
from . import mgn
from . import rdi
from . import srf
from . import sxn
from . import tnl
from . import ubx
from . import vtx
from . import nor

