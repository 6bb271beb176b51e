"""The road-load model and nothing else."""

from optimizer.physics.road import Road, lay_road
from optimizer.physics.road_load import GRAVITY, DragArea, aerodynamic_force, road_load
from optimizer.physics.setup import Setup

__all__ = ["GRAVITY", "DragArea", "Road", "Setup", "aerodynamic_force", "lay_road", "road_load"]
