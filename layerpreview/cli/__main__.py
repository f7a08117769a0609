"""`python -m layerpreview.cli` is the same as `layerpreview`."""

from layerpreview.cli import main

main()
