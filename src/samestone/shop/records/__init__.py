"""The records: what a stone weighs and can be, its visits, stray stones, exports, retention, uncollected pieces."""
