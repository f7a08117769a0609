"""A spray-out card as the fit sees it: windows over grounds, in one eye's numbers, and what cannot be fitted."""
