"""The instruments: their diary, what a failed check touches, gauge studies, the shop's own repeats."""
