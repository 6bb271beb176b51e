"""The road: from a GPX file to distance, height, heading, corners and surface."""

from optimizer.course.course import Corner, Correction, Course, Mark, Stretch

__all__ = ["Corner", "Correction", "Course", "Mark", "Stretch"]
