"""The pick-up: judge, look together, hold or hand over."""
