"""Spans of time against sets of whole numbers, which need no cleverness."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from wayside.practice.spans import Span, Spans, all_of, any_of

OVER = 30
pairs = st.lists(st.tuples(st.integers(-5, OVER + 5), st.integers(-5, OVER + 5)), max_size=6)


def instants(spans: Spans) -> set[int]:
    return {at for span in spans for at in range(span.start, span.end)}


def plain(written: list[tuple[int, int]]) -> set[int]:
    return {at for start, end in written for at in range(start, end) if 0 <= at < OVER}


@given(pairs, pairs)
def test_sets_of_spans_are_sets_of_instants(first: list[tuple[int, int]], second: list[tuple[int, int]]) -> None:
    one, other = Spans(first, OVER), Spans(second, OVER)
    everything = set(range(OVER))
    assert instants(one) == plain(first)
    assert instants(~one) == everything - plain(first)
    assert instants(one | other) == plain(first) | plain(second)
    assert instants(one & other) == plain(first) & plain(second)
    assert instants(one - other) == plain(first) - plain(second)
    assert instants(all_of([one, other], OVER)) == plain(first) & plain(second)
    assert instants(any_of([one, other], OVER)) == plain(first) | plain(second)


@given(pairs, st.integers(-2, OVER + 2))
def test_the_span_at_an_instant(written: list[tuple[int, int]], at: int) -> None:
    spans = Spans(written, OVER)
    found = spans.at(at)
    assert (found is not None) is (at in plain(written))
    assert found is None or found.start <= at < found.end


@given(pairs)
def test_spans_are_in_order_and_apart(written: list[tuple[int, int]]) -> None:
    spans = Spans(written, OVER)
    assert all(span.length > 0 for span in spans)
    assert all(first.end < second.start for first, second in zip(spans.all, spans.all[1:], strict=False))
    assert spans.ends() == [span.end for span in spans if span.end < OVER]
    assert bool(spans) is bool(plain(written))


def test_all_of_nothing_is_always_and_any_of_nothing_is_never() -> None:
    assert all_of([], OVER).all == (Span(0, OVER),)
    assert any_of([], OVER).all == ()
