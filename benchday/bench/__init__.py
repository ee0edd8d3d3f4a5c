"""The running day: one task per station, the operators' queue, the permit desk, recovery after a crash.

Over seams only: no port, no file, no print.
"""
