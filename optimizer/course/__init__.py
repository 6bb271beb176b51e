"""The road: from a GPX file to distance, height, heading, corners and surface."""

from optimizer.course.cleaning import MENDING, Cleaning
from optimizer.course.corners import Handling
from optimizer.course.course import Corner, Correction, Course, Mark, Stretch
from optimizer.course.features import SURFACES, TERRAINS, Features, Limit
from optimizer.course.profile import Shape
from optimizer.course.read import read_course
from optimizer.course.shelter import Obstacle

__all__ = ["MENDING", "SURFACES", "TERRAINS", "Cleaning", "Corner", "Correction", "Course",
           "Features", "Handling", "Limit", "Mark", "Obstacle", "Shape", "Stretch", "read_course"]
