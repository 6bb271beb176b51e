"""Any bytes and any mangled file: each reader gives a value or a refusal."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.readers import READERS, SEEDS, feed

PARTS = [b"\n", b"\r", b",", b";", b"\t", b'"', b"'", b"\0", b"\xff", b"\xef\xbb\xbf", b"<", b">",
         b"&", b"]]>", b"<!--", b"<![CDATA[", b"nan", b"inf", b"-inf", b"1e308", b"-1e-320", b"0",
         b"-0", b"1,5", b"1.234", b"999999999999999999999", b"=", b"[", b"]", b"[[", b"{", b"}",
         b"#", b"@", b"%", b"/", b"180", b"-180", b"90.0000001", b"2030-02-30T25:61", "½".encode(),
         "٣".encode(), "\u202e".encode(), b"km/h", b"g @ 0 km/h", b"true", b"\\u0000"]


@st.composite
def mangled(draw, seeds):
    """A seed with parts put in, cut out, doubled or swapped."""
    data = draw(st.sampled_from(seeds))
    for _ in range(draw(st.integers(1, 4))):
        a = draw(st.integers(0, len(data)))
        b = min(a + draw(st.integers(0, 12)), len(data))
        put = draw(st.one_of(st.sampled_from(PARTS), st.just(data[a:b] * 2),
                             st.binary(max_size=4), st.just(b"")))
        data = data[:a] + put + data[b:]
    return data


@pytest.mark.parametrize("examples", [40, pytest.param(200, marks=pytest.mark.ci)])
@pytest.mark.parametrize("kind", READERS)
def test_mangled_files(kind, examples):
    @settings(max_examples=examples, deadline=None, derandomize=True,
              suppress_health_check=[HealthCheck.too_slow])
    @given(mangled(SEEDS[kind]))
    def check(data):
        feed(kind, data)

    check()


@pytest.mark.parametrize("kind", READERS)
def test_any_bytes(kind):
    @settings(max_examples=40, deadline=None, derandomize=True)
    @given(st.binary(max_size=200))
    def check(data):
        feed(kind, data)

    check()
