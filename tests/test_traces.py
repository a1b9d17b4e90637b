"""The head trace for the page: only where the network was sure, never a wild guess."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gait import places
from gait.landmarks import INDEX
from gait.traces import make_traces
from tests.measure_truth import pass_from_truth

places.add_bundle_to_path()


def test_head_is_left_out_where_the_poll_is_a_guess():
    from synthetic_clips import cases, passes

    track = pass_from_truth(passes.truth_pass(cases.sound(7)))
    seen = np.array([v is not None for v in make_traces(track)["head_pct"]])
    confidence = track.confidence.copy()
    middle = len(track) // 2
    assert seen[middle - 5 : middle + 5].all()
    confidence[middle - 5 : middle + 5, INDEX["poll"]] = 0.1
    again = np.array(
        [v is not None for v in make_traces(replace(track, confidence=confidence))["head_pct"]]
    )
    assert not again[middle - 5 : middle + 5].any()
    outside = np.r_[0 : middle - 5, middle + 5 : len(track)]
    assert np.array_equal(again[outside], seen[outside])


def test_head_is_left_out_where_the_edge_of_the_picture_cuts_her():
    from synthetic_clips import cases, passes

    track = pass_from_truth(passes.truth_pass(cases.sound(7)))
    cut = np.zeros(len(track), bool)
    cut[:20] = True
    head = make_traces(replace(track, cut=cut))["head_pct"]
    assert all(v is None for v in head[:20])
    assert any(v is not None for v in head[20:])
    # a camera so near that she is hardly ever whole: a trace is better than none
    cut[:-10] = True
    assert sum(v is not None for v in make_traces(replace(track, cut=cut))["head_pct"]) > 10
