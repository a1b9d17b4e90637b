"""Kill -9 in the middle of handing in, scoring, filing and deciding loses nothing acknowledged.

A part of ``python3 -m tests.power_cut``, which does it 100 times.
"""

from __future__ import annotations

import os

import pytest

from gait.store import open_store
from tests.power_cut import Lost, check, cut_power


@pytest.mark.skipif(os.name != "posix", reason="kill -9 needs a posix system")
def test_nothing_acknowledged_is_lost_and_every_film_is_filed_once(tmp_path):
    told = cut_power(6, tmp_path, seed=1)
    assert told["kills"] >= 6
    assert told["taken"] == told["filed"] >= 3
    assert told["decided"] >= 3


def test_the_check_notices_a_loss(tmp_path):
    with open_store(tmp_path) as store, pytest.raises(Lost, match="not in the queue"):
        check(store, {"taken": {"a" * 64}, "filed": set(), "decided": set(), "again": set()})
