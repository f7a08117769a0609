"""What a page asks for first, made before it asks: laws that take seconds, the bases, the live picture, the figures."""

from __future__ import annotations

from layerpreview.desk.jobs import OpenJob
from layerpreview.desk.picture import USUAL_AROUND, live
from layerpreview.desk.spot import bares_of
from layerpreview.desk.surveyed import surveyed
from layerpreview.finish.layers import stack_of


def make_ahead(job: OpenJob) -> None:
    """Make it and keep it where the answers will look. Raises InputError and PictureError as they would."""
    read = job.read
    if read is None:
        return
    live(read, around=USUAL_AROUND)
    bares_of(read)
    for face in read.scheme.faces:
        stack_of(read.scheme, base=read.scheme.base_for(face.name))
    surveyed(read)
