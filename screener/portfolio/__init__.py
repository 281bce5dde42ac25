"""A portfolio of tracts: chunks of lots through the same pipeline, on one machine or on a cluster."""
