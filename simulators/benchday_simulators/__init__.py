"""Positioning instruments that do not exist: each runs as its own process and talks as the page of dialogues says."""
