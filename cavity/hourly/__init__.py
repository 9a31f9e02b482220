"""The hourly year of one case: boundary, assembly, run; `cavity.simulate` is `cavity.hourly.run.simulate`."""
