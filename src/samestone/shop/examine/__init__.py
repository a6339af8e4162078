"""Looking at a stone: readings, reactions, pictures, marks; the same pages at take-in, bench and pick-up."""
