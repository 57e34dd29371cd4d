"""Properties are tested for truth here, not for speed: no deadline for one example."""

from hypothesis import settings

settings.register_profile("record", deadline=None)
settings.load_profile("record")
