"""Checks of an edition: what its rule files say that they should not, beside what loading refuses already.

A check is one module in a folder of its topic, and defines `CHECK`: a stable id, a title, an explanation, a
severity and `find`. `registry` lists all of them, `run` judges an edition by them.
"""
