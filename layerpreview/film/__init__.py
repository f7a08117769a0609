"""What a film does to light: absorption, its face, and the base under it."""

from layerpreview.film.bases import SILVERS, Base, MetalBase, SolidBase
from layerpreview.film.body_law import (
    FACETS,
    FACETS_REACH,
    FILMS,
    FILMS_REACH,
    BodyLaw,
    FaceLaw,
    body_law,
    face_law,
    from_disc,
    on_disc,
)
from layerpreview.film.curves import LOG2_10, DiffuseFilm, Film, MetalFilm, PathCurve, diffuse_film, metal_film
from layerpreview.film.face import face_lobe
from layerpreview.film.facet_law import FacetLaw, facet_law
from layerpreview.film.facets import direction
from layerpreview.film.fresnel import fresnel_reflectance
from layerpreview.film.nodes import SpectralNodes, choose_nodes
from layerpreview.film.slab import EVEN, FILM_INDEX, Lamp, Light, absorbance10_of_load, lamp_at
from layerpreview.film.streams import body_in, body_reflectance
from layerpreview.film.trust import LAW_WITHIN, law_shapes, law_spread

__all__ = [
    "EVEN",
    "FACETS",
    "FACETS_REACH",
    "FILMS",
    "FILMS_REACH",
    "FILM_INDEX",
    "LAW_WITHIN",
    "LOG2_10",
    "SILVERS",
    "Base",
    "BodyLaw",
    "DiffuseFilm",
    "FaceLaw",
    "FacetLaw",
    "Film",
    "Lamp",
    "Light",
    "MetalBase",
    "MetalFilm",
    "PathCurve",
    "SolidBase",
    "SpectralNodes",
    "absorbance10_of_load",
    "body_in",
    "body_law",
    "body_reflectance",
    "choose_nodes",
    "diffuse_film",
    "direction",
    "face_law",
    "face_lobe",
    "facet_law",
    "fresnel_reflectance",
    "from_disc",
    "lamp_at",
    "law_shapes",
    "law_spread",
    "metal_film",
    "on_disc",
]
