"""Compiled kernels: floats and arrays only, no strings, no raising, nothing allocated inside."""
