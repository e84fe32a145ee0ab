"""The order of dyes, the masks it needs, and the simulated baths."""
