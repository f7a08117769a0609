"""The dyes on a card or several: what is unknown, what is believed beforehand, the likeliest answer, its doubt."""
