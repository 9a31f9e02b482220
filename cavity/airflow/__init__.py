"""Air flow through the cavity: loss coefficients, wind pressure, the column of a case, gains, steady flow."""
