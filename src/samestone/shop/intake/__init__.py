"""The take-in: client, envelope, piece, stones, condition, agreed marks, receipt."""
