"""For all tests: property tests have no deadline, since a busy machine is no fault of the code."""

from hypothesis import settings

settings.register_profile("house", deadline=None)
settings.load_profile("house")
