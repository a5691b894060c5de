"""Cataloguing many captures: measured once each, judged, and told what to do about them."""

from fluxbench.captures.catalogue._apart import Apart
from fluxbench.captures.catalogue._cluster import ClusterCrew
from fluxbench.captures.catalogue._crew import Crew, LocalCrew
from fluxbench.captures.catalogue._declared import Chain, Declared, chain_of, equalisation_of
from fluxbench.captures.catalogue._faults import Verdict
from fluxbench.captures.catalogue._for_book import facts_found, name_of
from fluxbench.captures.catalogue._in_book import InBook
from fluxbench.captures.catalogue._remedy import Remedy
from fluxbench.captures.catalogue._row import Entry, object_of
from fluxbench.captures.catalogue._run import Done, catalogue
from fluxbench.captures.catalogue._walk import Found

__all__ = [
    "Apart",
    "Chain",
    "ClusterCrew",
    "Crew",
    "Declared",
    "Done",
    "Entry",
    "Found",
    "InBook",
    "LocalCrew",
    "Remedy",
    "Verdict",
    "catalogue",
    "chain_of",
    "equalisation_of",
    "facts_found",
    "name_of",
    "object_of",
]
