"""Aspect width."""

from mixcompare.aspects.width.aspect import analyzer

__all__ = ["analyzer"]
