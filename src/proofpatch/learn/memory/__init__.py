"""Memory: what the jobs of a shop say together, and what that is worth for the next.

A finished job leaves a `site`; `population` fits all sites at once; `Population.recalled` is what the belief about a
new surface starts from: `prior(surface, laser, memory=recalled)`.
"""

from proofpatch.learn.memory.population import Known, Population, population
from proofpatch.learn.memory.reform import reformed
from proofpatch.learn.memory.sites import Part, Site, site

__all__ = ["Known", "Part", "Population", "Site", "population", "reformed", "site"]
