"""Captures made from closed forms, so that everything in them is known."""
