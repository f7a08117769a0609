"""What a page asks for first, made before it asks: laws that take seconds, the bases, the live picture, the figures."""

from __future__ import annotations

from layerpreview.desk.jobs import OpenJob
from layerpreview.desk.memory import give_back
from layerpreview.desk.picture import USUAL_AROUND, live
from layerpreview.desk.spot import bares_of
from layerpreview.desk.surveyed import asked_for_figures, surveyed
from layerpreview.finish.layers import stack_of
from layerpreview.finish.view import surroundings_of
from layerpreview.output.live import live_picture

PAGE_LOADS_S = 4.0


def make_ahead(job: OpenJob) -> None:
    """Make it and keep it where the answers will look. Raises InputError and PictureError as they would."""
    read = job.read
    if read is None:
        return
    live(read, around=USUAL_AROUND)
    # A page that is just loading asks for figures once its first picture stands: until then the machine is its own.
    asked_for_figures.wait(PAGE_LOADS_S)
    bares_of(read)
    for face in read.scheme.faces:
        stack_of(read.scheme, base=read.scheme.base_for(face.name))
    surveyed(read)
    # Where the picture was kept from before its parts are not there yet, and the next change asks for most of them.
    live_picture(read.scheme, surroundings_of(read.scheme, USUAL_AROUND))
    give_back()
