"""Settings for every test."""

from hypothesis import settings

# a test never judges by the clock: a busy machine would fail a law that holds; speeds are in tests/benchmarks
settings.register_profile("no_clock", deadline=None)
settings.load_profile("no_clock")
