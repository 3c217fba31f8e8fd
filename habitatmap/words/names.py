"""What the terms of the vocabulary are called for somebody who has not read the README."""

from __future__ import annotations

from habitatmap.vocabulary.kinds import Kind

KIND_NAMES = {
    Kind.POOLS: "pools",
    Kind.VISITS: "visits",
    Kind.TREES: "trees",
    Kind.LAND: "land and consents",
    Kind.CONSENT: "the list of consents",
    Kind.KEEP_AWAY: "exclusion zones",
    Kind.PATHS: "paths and streets",
    Kind.NAMES: "names of places",
    Kind.ADDRESSES: "house numbers",
    Kind.BOUNDARY: "outline of the area",
    Kind.INVENTORIED: "where the list of trees is complete",
    Kind.COMMITTED: "committed sites",
    Kind.PLAN_STATUS: "the state of suggested sites",
    Kind.LAND_COVER: "land cover",
    Kind.STEEP: "slopes",
    Kind.FLOODS: "ground that floods",
    Kind.OVERLAYS: "painted over the land cover",
}
