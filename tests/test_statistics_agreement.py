"""Observer statistics against published tables and R."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gait.statistics import agreement as ag

# Landis and Koch carcinoma data, pathologists A and B, in Agresti, Categorical Data Analysis.
CARCINOMA = [[22, 2, 2, 0], [5, 7, 14, 0], [0, 2, 36, 0], [0, 1, 17, 10]]
# SAS example as used in statsmodels' own tests (test_inter_rater.py).
SAS = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]
# Fleiss, psychiatric diagnoses.
FLEISS = [[75, 1, 4], [5, 4, 1], [0, 0, 10]]
NAN = np.nan
# Krippendorff's canonical 12 units by 4 observers.
CANONICAL = np.array(
    [
        [1, 2, 3, 3, 2, 1, 4, 1, 2, NAN, NAN, NAN],
        [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, NAN, 3],
        [NAN, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, NAN],
        [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, NAN],
    ]
).T


def test_kappa_of_the_carcinoma_table() -> None:
    found = ag.kappa(CARCINOMA)
    # Published 0.493 (0.057), from memory; Agresti.
    assert found.value == pytest.approx(0.493, abs=5e-4)
    assert found.se == pytest.approx(0.057, abs=5e-4)


@pytest.mark.parametrize(
    ("weights", "value", "ase"), [("none", 0.4842, 0.1380), ("linear", 0.4701, 0.1457)]
)
def test_kappa_of_the_sas_example(weights: ag.Weights, value: float, ase: float) -> None:
    # Read in statsmodels test_inter_rater.py (SAS output).
    found = ag.kappa(SAS, weights)
    assert found.value == pytest.approx(value, abs=1e-4)
    assert found.se == pytest.approx(ase, abs=1e-4)
    assert ag.kappa(SAS).low == pytest.approx(0.2137, abs=1e-4)


def test_kappa_of_the_fleiss_diagnoses() -> None:
    assert ag.kappa(FLEISS).value == pytest.approx(0.676, abs=1e-3)  # from memory


def test_kappa_matches_r_on_the_multiple_sclerosis_table(shared: Path) -> None:
    # R 4.2 vcd::Kappa(MSPatients[,,'Winnipeg']).
    file = shared / "data/check/statistics/vcd_MSPatients.csv"
    rows = list(csv.reader(file.read_text("utf-8").splitlines()))
    table = [[int(v) for v in row[:4]] for row in rows[1:]]
    for weights, value, ase in (
        ("none", 0.207942464, 0.0504553652),
        ("linear", 0.379730548, 0.0516668262),
        ("quadratic", 0.5245764643, 0.0600550988),
    ):
        found = ag.kappa(table, weights)  # type: ignore[arg-type]
        assert found.value == pytest.approx(value, abs=1e-8)
        assert found.se == pytest.approx(ase, abs=1e-8)


def test_icc_matches_r_on_the_same_patients(shared: Path) -> None:
    # R 4.2 psych::ICC, Single_random_raters (ICC2) 0.52625562.
    file = shared / "data/check/statistics/vcd_MSPatients.csv"
    table = [
        [int(v) for v in row[:4]]
        for row in list(csv.reader(file.read_text("utf-8").splitlines()))[1:]
    ]
    pairs = [(i, j) for i in range(4) for j in range(4) for _ in range(table[i][j])]
    assert ag.icc_agreement(np.array(pairs, float)) == pytest.approx(0.52625562, abs=1e-7)


def test_kappa_paradox_and_its_cures() -> None:
    table = [[118, 5], [2, 0]]
    assert ag.percent_agreement(table) == pytest.approx(0.944)
    assert ag.kappa(table).value == pytest.approx(-0.0234, abs=1e-4)
    assert ag.pabak(table) == pytest.approx(0.888)
    assert ag.gwet(table) == pytest.approx(0.941, abs=1e-3)  # Gwet, from memory


@pytest.mark.parametrize(
    ("table", "kappa", "pabak"),
    [
        # Feinstein and Cicchetti 1990, kappas .70 .32 .13 .26 from memory.
        ([[40, 9], [6, 45]], 0.70, 0.70),
        ([[80, 10], [5, 5]], 0.32, 0.70),
        ([[45, 15], [25, 15]], 0.13, 0.20),
        ([[25, 35], [5, 35]], 0.26, 0.20),
    ],
)
def test_feinstein_and_cicchetti(table: list[list[int]], kappa: float, pabak: float) -> None:
    assert ag.kappa(table).value == pytest.approx(kappa, abs=5e-3)
    assert ag.pabak(table) == pytest.approx(pabak, abs=1e-9)


@pytest.mark.parametrize(
    ("level", "alpha"),
    [("nominal", 0.743), ("ordinal", 0.815), ("interval", 0.849), ("ratio", 0.797)],
)
def test_krippendorff_alpha_of_the_canonical_data(level: ag.Level, alpha: float) -> None:
    # Krippendorff 2004; published .743 / .815 / .849 / .797, from memory.
    assert ag.krippendorff_alpha(CANONICAL, level) == pytest.approx(alpha, abs=6e-4)


def test_mcnemar_of_the_approval_ratings() -> None:
    # Agresti: 150 and 86 changed their minds, chi-square 17.36 (from memory).
    assert ag.mcnemar(150, 86, exact=False) == pytest.approx(3.1e-5, rel=0.02)
    assert ag.mcnemar(10, 2) == pytest.approx(0.03857, abs=1e-5)


def test_lame_test_reproduces_a_published_two_by_two() -> None:
    # Sprecher et al. 1997: 43 of 66 lame, 15 culled, all culled were lame; from the abstract's
    # percentages. Here "test" is lame, "reference" is culled.
    reference = [3] * 15 + [1] * 51
    test = [3] * 15 + [3] * 28 + [1] * 23
    found = ag.lame_test(reference, test)
    assert found.sensitivity.value == 1.0
    assert found.specificity.value == pytest.approx(23 / 51)
    assert found.both / (found.both + found.only_test) == pytest.approx(0.35, abs=0.005)


def test_a_single_score_gives_no_kappa() -> None:
    assert np.isnan(ag.kappa([[9, 0], [0, 0]]).value)


def test_a_score_outside_the_scale_is_refused() -> None:
    with pytest.raises(ValueError, match="6 is not one of the scale"):
        ag.confusion_table([1, 6], [1, 2], (1, 2, 3, 4, 5))


@given(st.lists(st.tuples(st.integers(1, 5), st.integers(1, 5)), min_size=5, max_size=60))
def test_agreement_does_not_depend_on_who_comes_first(pairs: list[tuple[int, int]]) -> None:
    a, b = [p[0] for p in pairs], [p[1] for p in pairs]
    table = ag.confusion_table(a, b, (1, 2, 3, 4, 5))
    assert ag.gwet(table, "linear") == pytest.approx(ag.gwet(table.T, "linear"))
    there, back = ag.kappa(table, "quadratic").value, ag.kappa(table.T, "quadratic").value
    assert (np.isnan(there) and np.isnan(back)) or there == pytest.approx(back)
