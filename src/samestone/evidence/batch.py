"""Many comparisons, streamed."""
