"""Aspect balance."""

from mixcompare.aspects.balance.aspect import analyzer

__all__ = ["analyzer"]
