"""Aspect articulation."""

from mixcompare.aspects.articulation.aspect import analyzer

__all__ = ["analyzer"]
