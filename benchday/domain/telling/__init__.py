"""Entries told for people: the log of a unit in sentences, pure functions from entries to lines."""
