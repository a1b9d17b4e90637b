"""Damaged files of every kind the program reads, made from seeds, and a run over all of them.

``python3 -m tests.damage`` makes and reads 500 films and 500 lists and model files; the tests in
this folder do the same with fewer.
"""
