"""The bench: who holds what, loose stones, news for the client, the evening count."""
