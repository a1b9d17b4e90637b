"""Herd rules: the lame list, trim day, recheck, prevalence and which cow a pass shows.

Pure functions on the plain records of :mod:`gait.herd.records`. Nothing in here reads a file,
a database or the clock: today's date is always handed in.
"""
