"""Aspect tone."""

from mixcompare.aspects.tone.aspect import analyzer

__all__ = ["analyzer"]
