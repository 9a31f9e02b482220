"""Compiled kernels: floats and arrays only, no strings, no raising, nothing allocated inside.

Numbers such as E33 in a docstring are the equations of docs/theory.md.
"""
