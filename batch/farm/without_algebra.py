"""What the fork server loads first (child_processes.py): numba, without SciPy's linear algebra.

Numba asks for it once, to know whether compiled code may multiply matrices: none of ours does. It would load a hundred further modules,
NumPy's tests and f2py among them: a ninth of what the fork server takes before there is a worker. Whoever asks later has it.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import cast

NAME = "scipy.linalg.cython_blas"
_modules = cast("dict[str, ModuleType | None]", sys.modules)
if NAME not in _modules:
    _modules[NAME] = None  # an import of it says that there is no such module
    try:
        import_module("numba.np.arraymath")  # which asks
    finally:
        del _modules[NAME]
