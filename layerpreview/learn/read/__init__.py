"""Files and photos in: tables, spectra, and windows of the frame as linear light."""
