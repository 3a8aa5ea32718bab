"""Battery model, state estimate, limits and charging: the same code and names as the C++ library.

Units stand in the names; current and power are positive when they charge (IEC 60375). State of charge is a
fraction from 0 to 1. Arrays go in and come out; a list or a data frame column works as an array.
"""

from voltkeel import _voltkeel as _compiled
from voltkeel._voltkeel import *  # noqa: F403  the names of the compiled module are the public ones

__version__: str = _compiled.__version__
__all__ = sorted(name for name in dir(_compiled) if not name.startswith("_"))
