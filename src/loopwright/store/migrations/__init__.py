"""Versions of the store's tables."""
