"""Aspect tempo."""

from mixcompare.aspects.tempo.aspect import analyzer

__all__ = ["analyzer"]
