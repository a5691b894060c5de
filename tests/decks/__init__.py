"""Modelled decks that only tests use."""
