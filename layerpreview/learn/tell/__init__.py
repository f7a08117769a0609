"""What was found: the dye, its doubts and the next card; beside an earlier bottle, and before and after the clear."""
