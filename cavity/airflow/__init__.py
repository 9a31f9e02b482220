"""Air flow through the cavity: loss data, wind pressure, the column built from the wall. Faces of the air kernels."""
