"""The hourly year of one case: boundary conditions, assembly, run; `simulate` is public as `cavity.simulate`."""
