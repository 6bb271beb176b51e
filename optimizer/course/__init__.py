"""The road: from a GPX file to distance, height, heading, corners and surface."""

from optimizer.course.corners import Handling
from optimizer.course.course import Corner, Correction, Course, Mark, Stretch
from optimizer.course.profile import Cleaning
from optimizer.course.read import read_course

__all__ = ["Cleaning", "Corner", "Correction", "Course", "Handling", "Mark", "Stretch",
           "read_course"]
