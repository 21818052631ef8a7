"""Spans as text, and spans that cannot be."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.audio.span import parse_span
from mixcompare.errors import ParameterError
from tests.audio.samples import RATE_HZ

FloatArray = npt.NDArray[np.float64]


@pytest.mark.parametrize("span_s", [(0.5, 2.5), (-1.0, 1.5), (1.5, 0.5), (0.5, 1.0)])
def test_spans_that_cannot_be(span_s: tuple[float, float], noise: FloatArray) -> None:
    with pytest.raises(ParameterError, match="span"):
        Recording.from_array(noise, RATE_HZ, span_s=span_s)


@pytest.mark.parametrize(
    ("text", "span_s"),
    [
        ("12-45.5", (12.0, 45.5)),
        ("0:12-0:45.5", (12.0, 45.5)),
        ("1:02:03-1:03:00", (3723.0, 3780.0)),
        (" 5 - 1:10 ", (5.0, 70.0)),
    ],
)
def test_spans_as_text(text: str, span_s: tuple[float, float]) -> None:
    assert parse_span(text) == span_s


@pytest.mark.parametrize("text", ["", "12", "20-10", "a-b", "1:2:3:4-5", "-3-5"])
def test_text_that_is_no_span(text: str) -> None:
    with pytest.raises(ParameterError, match="span"):
        parse_span(text)
