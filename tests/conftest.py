"""Property tests have no deadline: a loaded machine is no fault of the code."""

from hypothesis import settings

settings.register_profile("rushlight", deadline=None)
settings.load_profile("rushlight")
