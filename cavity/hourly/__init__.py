"""The hourly year of one case: boundary conditions, assembly, run; `cavity.simulate` is `cavity.hourly.run.simulate`."""
