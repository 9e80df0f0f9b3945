"""The version, read by the build and by `geochem --version`."""

__version__ = "0.1.0"
