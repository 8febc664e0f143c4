"""Whose each unknown is."""

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.memory.levels import LEAN, concretes, heard, layout, shares
from proofpatch.learn.unknowns import TILTS, latents


def test_without_jobs_every_unknown_is_a_standard_normal():
    surface = pp.Surface([pp.Layer("wax"), pp.Layer("oil-varnish", thickness=60e-6)], "oak", substrate_thickness=20e-3)
    for who in ((None, None), ("pulsed-500", "Ida")):
        for concrete in concretes(surface, *who):
            found = layout(concrete)
            covariance = found.loading @ found.loading.T + np.diag(found.piece.sum(axis=0) + found.rest)
            assert np.diag(covariance) == pytest.approx(1.0, abs=1e-12)
            assert found.piece.min() >= 0
            assert found.rest.min() >= 0


def test_unknowns_of_one_piece_stay_apart():
    # Published data draw every unknown by itself; two layers of one coating are the exception memory makes.
    for concrete in concretes(pp.Surface("shellac", "walnut"), "pulsed-300", "Ida"):
        across = layout(concrete).loading @ layout(concrete).loading.T
        assert np.abs(across - np.diag(np.diag(across))).max() == 0


def test_what_the_owner_measured_says_nothing_of_other_pieces():
    surface = pp.Surface(pp.Layer("shellac", thickness=40e-6), "walnut", substrate_thickness=20e-3)
    (concrete, *_) = concretes(surface)
    found, names = layout(concrete), latents(surface).names
    for name in (("layer 0", "thickness"), ("substrate", "thickness_default")):
        assert found.rest[names.index(name)] == 1.0
        assert not found.loading[names.index(name)].any()
    assert found.loading[names.index(("layer 0", "thickness_spread"))].any()


def test_a_coating_is_shared_over_substrates_and_a_substrate_over_coatings():
    def keys(coating, substrate):
        concrete = concretes(pp.Surface(pp.Layer(coating, condition="aged"), substrate, condition="aged"))[0]
        return {key[0]: {k for k in layout(concrete).effects if k[0] == key[0]} for key in layout(concrete).effects}

    one, other, third = keys("oil-varnish", "oak"), keys("oil-varnish", "walnut"), keys("shellac", "oak")
    assert one["coating"] == other["coating"] != third["coating"]
    assert one["substrate"] == third["substrate"] != other["substrate"]
    assert one["pair"].isdisjoint(other["pair"] | third["pair"])
    assert one["everywhere"] == third["everywhere"]


def test_a_grader_leans_in_what_is_said_not_in_what_is_true():
    surface = pp.Surface("shellac", "walnut")
    said, true = (layout(concretes(surface, "pulsed-300", "Ida", leans)[0]) for leans in (True, False))
    assert set(said.effects) - set(true.effects) == {("grader", "Ida", "depth_discrepancy")}


def test_every_share_says_where_it_comes_from():
    for datum in shares().values():
        assert datum.status == "common practice"
        assert datum.locator


def test_noise_and_tilts_are_no_ones_in_what_a_site_is_read_as():
    surface = pp.Surface("shellac", "walnut")
    for concrete in concretes(surface, "pulsed-300", "Ida"):
        found, names = heard(concrete), [name for _, name in latents(surface).names]
        assert np.diag(found.loading @ found.loading.T) + found.piece.sum(axis=0) + found.rest == pytest.approx(1.0)
        deaf = {name for name, rest in zip(names, found.rest, strict=True) if rest == 1.0}
        assert deaf == {*TILTS, "kinetics_discrepancy", "grader_noise"}
        assert not deaf & {key[-1] for key in found.effects}
        assert ("grader", "Ida", LEAN) in found.effects  # how far an eye leans is learned
