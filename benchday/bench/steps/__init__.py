"""The steps of a service: one step, one file, one shape.

Each is an async function from a ``Serving`` to the name of the step that comes next, or None when the unit is done.
"""
