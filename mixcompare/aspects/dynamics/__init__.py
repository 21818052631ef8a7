"""Aspect dynamics."""

from mixcompare.aspects.dynamics.aspect import analyzer

__all__ = ["analyzer"]
