"""Published cases with their sources: what `cavity verify` runs."""
