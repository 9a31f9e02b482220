"""The live page: a wall changed in the browser, its hourly year answered from the user's own machine."""
