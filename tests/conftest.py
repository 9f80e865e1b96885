"""What all tests share: examples drawn alike on every machine, and no deadline on a busy one."""

from hypothesis import settings

settings.register_profile("project", deadline=None, derandomize=True, database=None)
settings.load_profile("project")
