"""Small hand-made extracts."""

from __future__ import annotations

from pathlib import Path

import osmium
from osmium.osm.mutable import Node, Relation, Way

from habitatmap.read.osm import OsmExtract, read_pbf

Box = tuple[float, float, float, float]


class Sheet:
    """A hand-made extract: squares of side 0.001 degrees with tags, nodes numbered as they come."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.nodes: list[Node] = []
        self.ways: list[Way] = []
        self.relations: list[Relation] = []

    def node(self, lon: float, lat: float, **tags: str) -> int:
        self.nodes.append(Node(id=len(self.nodes) + 1, location=(lon, lat), tags=tags))
        return len(self.nodes)

    def square(self, lon: float, lat: float, side: float = 0.001, **tags: str) -> int:
        corners = [(lon, lat), (lon + side, lat), (lon + side, lat + side), (lon, lat + side)]
        refs = [self.node(*corner) for corner in corners]
        return self.way([*refs, refs[0]], **tags)

    def way(self, refs: list[int], **tags: str) -> int:
        self.ways.append(Way(id=len(self.ways) + 1, nodes=refs, tags=tags))
        return len(self.ways)

    def relation(self, members: list[tuple[str, int, str]], **tags: str) -> None:
        self.relations.append(Relation(id=len(self.relations) + 1, members=members, tags=tags))

    def read(
        self, without_nodes: tuple[int, ...] = (), without_ways: tuple[int, ...] = (), box: Box | None = None
    ) -> OsmExtract:
        """Writes the file, anew and without what a box would cut off, and reads it."""
        self.path.unlink(missing_ok=True)
        header = osmium.io.Header()
        if box:
            header.add_box(osmium.osm.Box(*box))
        with osmium.SimpleWriter(str(self.path), header=header) as writer:
            for node in self.nodes:
                if node.id not in without_nodes:
                    writer.add_node(node)
            for way in self.ways:
                if way.id not in without_ways:
                    writer.add_way(way)
            for relation in self.relations:
                writer.add_relation(relation)
        return read_pbf(self.path)
