"""The version, in one place; read by the build and by the engine field of a judgement."""

__version__ = "0.1.0"
