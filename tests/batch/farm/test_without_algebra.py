"""The fork server loads no linear algebra, and its forks may."""

import subprocess
import sys

LOADED = """
import sys
import rushlight.batch.farm.without_algebra, rushlight.batch.farm.forked
print([name for name in ("scipy.linalg", "numpy.f2py", "numpy.testing") if name in sys.modules])
import scipy.linalg.cython_blas
"""


def test_numba_starts_without_it_and_others_have_it_afterwards() -> None:
    done = subprocess.run([sys.executable, "-c", LOADED], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
