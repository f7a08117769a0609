"""`python -m layerpreview` is the same as `layerpreview`."""

from layerpreview.cli import main

main()
