"""Numbered SQL files that bring a journal forward; none is ever changed once released."""
