"""Is the posterior honest? Draws from our own prior, an outside sampler, and vehicles of other physics."""
