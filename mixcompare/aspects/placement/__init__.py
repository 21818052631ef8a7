"""Aspect placement."""

from mixcompare.aspects.placement.aspect import analyzer

__all__ = ["analyzer"]
