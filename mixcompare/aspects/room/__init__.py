"""Aspect room."""

from mixcompare.aspects.room.aspect import analyzer

__all__ = ["analyzer"]
